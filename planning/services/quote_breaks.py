"""What a line of a quote would cost at other quantities, by the same arithmetic as the whole."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import date, datetime
from typing import Any

from django.utils.translation import gettext as _

from planning.calc.cost import RateBook, time_amount
from planning.inputs.rates import rate_book
from planning.services.quote_drawing import price_drawing
from planning.services.quote_forecast import Times, forecast
from planning.services.quote_pricing import Priced, price_planned
from shopfloor.site.queries import shift_date_of
from shopfloor.wording.numbers_in import row_number

MINUTE_US = 60_000_000
MOST_BREAKS = 5  # other quantities of a line


def with_setups(found: Sequence[Priced], *, now: datetime) -> list[Priced]:
    """Each line with its set-up at the table's rates of the day."""
    rates, day = rate_book(), shift_date_of(now)
    return [_with_setup(one, rates, day) for one in found]


def _with_setup(one: Priced, rates: RateBook, day: date) -> Priced:
    minutes = one.wanted.setup_min
    if not minutes:
        return one
    found = [rates.on(kind, day, one.wanted.table.pk) for kind in ("machine", "labour")]
    known = [rate.amount_minor for rate in found if rate is not None]
    if len(known) < len(found):
        said = _("set-up: no rate of {table}").format(table=one.wanted.table.name)
        return replace(one, setup_minor=None, unknown=(*one.unknown, said))
    minor = sum(time_amount(round(minutes * MINUTE_US), rate) for rate in known)
    return replace(one, setup_minor=minor)


def line_breaks(
    found: Sequence[Priced], times: Times, chance: float, *, now: datetime
) -> list[list[dict[str, Any]]]:
    """Of each line, what it costs at each of its other quantities while the other lines stay: its
    share of that whole's allowance, its set-up and its sheets. Unknown where a part of it is."""
    return [
        [
            _break(found, place, quantity, times, chance, now)
            for quantity in sorted(set(one.wanted.breaks) - {one.wanted.quantity})
        ]
        for place, one in enumerate(found)
    ]


def _break(
    found: Sequence[Priced],
    place: int,
    quantity: int,
    times: Times,
    chance: float,
    now: datetime,
) -> dict[str, Any]:
    old = found[place]
    wanted = old.wanted.times(quantity)
    one = price_planned(wanted) if wanted.drawing is None else price_drawing(wanted, now=now)
    said = forecast([*found[:place], one, *found[place + 1 :]], times, chance, now=now)
    work = said.lines_minor[place] if said else None
    parts = (work, one.material_minor, old.setup_minor)
    known = None if any(part is None for part in parts) else sum(part or 0 for part in parts)
    return {
        "quantity": quantity,
        "sheets": one.wanted.sheets,
        "work_minor": work,
        "material_minor": one.material_minor,
        "minor": known,
    }


def quantities_of(text: str, most: int) -> tuple[int, ...]:
    """ "10, 50 100" as numbers. Raises ValueError for what is none, and for too many."""
    words = text.replace(",", " ").replace(";", " ").split()
    if len(words) > MOST_BREAKS:
        raise ValueError(_("{most} other quantities at most.").format(most=MOST_BREAKS))
    found = {word: row_number(word) for word in words}
    for word, number in found.items():
        if number is None or not 1 <= number <= most:
            raise ValueError(_("{text!r} is not a quantity.").format(text=word[:20]))
    return tuple(number for number in found.values() if number is not None)
