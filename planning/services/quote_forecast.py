"""What a quote's work will cost with a chosen chance of more: one distribution of all its lines."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

import numpy as np
from django.utils.translation import gettext as _

from planning.calc.ahead.clock import week_of
from planning.calc.ahead.quotes import (
    DRAWS,
    MOST_DAYS,
    WEEKS_ON,
    LineAhead,
    QuoteDraws,
    quote_draws,
)
from planning.calc.ahead.scores import LEVELS
from planning.calc.allocation import share_out
from planning.calc.cost import rounded
from planning.inputs.stored_time import StoredTime, stored_books
from planning.services.quote_pricing import Priced
from shopfloor.models import Table


@dataclass(frozen=True)
class Forecast:
    """Minor units of each line, material apart, which together are exceeded with the chance that
    was asked. `body` is kept with the quote, `rests_on` with each line."""

    lines_minor: tuple[int, ...]
    body: dict[str, Any]
    rests_on: tuple[dict[str, Any], ...]


class Times:
    """The tables' fits, read once for any number of quotes."""

    def __init__(self, tables: Sequence[Table]) -> None:
        self.tables = {table.pk: table for table in tables}
        self.stored: Mapping[int, StoredTime] = stored_books(tables)


def forecast(
    found: Sequence[Priced], times: Times, chance: float, *, now: datetime
) -> Forecast | None:
    """None where a line's plan has no figure."""
    lines = [one.ahead for one in found if one.ahead is not None]
    if len(lines) < len(found):
        return None
    drawn = drawn_lines(lines, times, now=now)
    whole = rounded(drawn.exceeded_with(chance))
    shared = share_out(whole, dict(enumerate(drawn.means())))
    return Forecast(
        tuple(shared.get(place, 0) for place in range(len(lines))),
        _kept(drawn, times, lines, whole) | {"chance": chance, "seed": seed_of(now)},
        tuple(_rests_on(line, times) for line in lines),
    )


def drawn_lines(lines: Sequence[LineAhead], times: Times, *, now: datetime) -> QuoteDraws:
    """The same draws for the same lines and moment."""
    fits = {line.table: times.stored[int(str(line.table))].fit for line in lines}
    return quote_draws(fits, lines, week=week_of(now.timestamp()), seed=seed_of(now))


def seed_of(now: datetime) -> int:
    return int(now.timestamp())


def _kept(
    drawn: QuoteDraws, times: Times, lines: Sequence[LineAhead], whole: int
) -> dict[str, Any]:
    seconds = drawn.seconds.sum(axis=1)
    tables = []
    for table in dict.fromkeys(line.table for line in lines):
        stored = times.stored[int(str(table))]
        until = stored.cut_off.isoformat() if stored.cut_off else None
        name = times.tables[stored.table_id].name
        kept = {"name": name, "runs": stored.runs, "until": until, "scale": stored.scale}
        tables.append(kept)
    return {
        "allowed_minor": whole,
        "minor": [rounded(one) for one in drawn.quantiles()],
        "seconds": [round(float(one)) for one in np.quantile(seconds, LEVELS)],
        "tables": tables,
        "draws": DRAWS,
        "weeks_on": WEEKS_ON,
        "most_days": MOST_DAYS,
        "beyond": drawn.beyond,
        "model": max(times.stored[int(str(line.table))].model for line in lines),
    }


def _rests_on(line: LineAhead, times: Times) -> dict[str, Any]:
    """Which of what the line is made of has been cut before."""
    stored = times.stored[int(str(line.table))]
    cell, nest = line.cell in stored.fit.cells, line.nest in stored.fit.nests
    name = times.tables[stored.table_id].name
    if not stored.runs:
        words = _("no run of {table} yet: what its page says, and our assumptions")
    elif nest:
        words = _("{runs} runs of {table}, this nest among them")
    elif cell:
        words = _("{runs} runs of {table}, this set and plate among them")
    else:
        words = _("{runs} runs of {table}, none with this set and plate")
    said = words.format(runs=stored.runs, table=name)
    return {"runs": stored.runs, "cell": cell, "nest": nest, "words": said}
