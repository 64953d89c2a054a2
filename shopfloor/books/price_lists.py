"""Prices and lives of wear parts, rates, and bench minutes brought in as a list: all rows or
none, with every fault named by its line."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import date
from decimal import ROUND_HALF_UP
from typing import Final

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_

from planning.calc.numbers import filled
from shopfloor.books.queries import WAGES
from shopfloor.books.rates import rate_set
from shopfloor.chart.cut_settings import BY_NAME, ROW_NAMES
from shopfloor.chart.rows import save_row
from shopfloor.chart.services import part_set
from shopfloor.files.fault import Fault
from shopfloor.files.read_list import Row, read_table
from shopfloor.jobs.list_rows import RowError, money_of
from shopfloor.models import ChartRow, PieceKind, RateKind, Table, WearSet
from shopfloor.site.queries import the_shop


@dataclass(frozen=True, slots=True)
class Kind:
    """A list that can be brought in; `write` takes one row and raises RowError or
    ValidationError."""

    label: str
    columns: tuple[str, ...]
    needed: tuple[str, ...]
    write: Callable[[Row, bool], None]


def _parts(row: Row, wages: bool) -> None:
    wear_set = _set_of(row)
    kind = _one_of(row, "kind", {one.value: str(one.label) for one in PieceKind})
    part = wear_set.parts.filter(kind=kind).first()
    name = row.text("name") or (part.name if part else str(PieceKind(kind).label))
    part_set(
        wear_set=wear_set, kind=kind, name=name, price_minor=_amount(row, "price"),
        rated_starts=_rated(row, part.rated_starts if part else None),
        pit_limit_mm=part.pit_limit_mm if part else None,
        in_drawer=_whole(row, "in drawer", part.in_drawer if part else 0) or 0,
        low_at=_whole(row, "low at", part.low_at if part else 2) or 0,
        lead_days=_whole(row, "lead days", part.lead_days if part else None),
        pack=_whole(row, "pack", part.pack if part else 1) or 1,
    )  # fmt: skip


def _rates(row: Row, wages: bool) -> None:
    kind = _one_of(row, "rate", {one.value: str(one.label) for one in RateKind})
    if kind in WAGES and not wages:
        raise RowError(_("rate {kind!r} is a wage, which you may not see").format(kind=kind))
    name = row.text("table")
    table = Table.objects.filter(active=True, name__iexact=name).first() if name else None
    if name and table is None:
        raise RowError(_("there is no table {name!r}").format(name=name[:40]))
    try:
        day = date.fromisoformat(row.text("from")[:10])
    except ValueError:
        raise RowError(
            _("from {text!r} is not a date such as 2026-10-08").format(text=row.text("from")[:30])
        ) from None
    rate_set(kind=kind, amount_minor=_amount(row, "amount"), valid_from=day, table=table,
             note=row.text("note")[:200])  # fmt: skip


def _bench(row: Row, wages: bool) -> None:
    wear_set, text = _set_of(row), row.text("thickness")
    found = ChartRow.objects.filter(
        wear_set=wear_set, material__code__iexact=row.text("material"),
        thickness_text__iexact=text, valid_to=None,
    ).first()  # fmt: skip
    if found is None:
        raise RowError(
            _("no chart row of {wear_set} is for {text!r}, written so").format(
                wear_set=wear_set.code, text=text[:40]
            )
        )
    said = row.text("minutes").replace(",", ".")
    try:
        minutes = float(said)
    except ValueError:
        raise RowError(_("minutes {said!r} is not a number").format(said=said[:30])) from None
    if fault := BY_NAME["bench_min_per_m"].fault(minutes):
        raise RowError(filled(_("minutes {minutes:g}: {fault}"), minutes=minutes, fault=fault))
    known = {name: getattr(found, name) for name in ROW_NAMES}
    save_row(
        wear_set=wear_set, material=found.material, thickness_text=found.thickness_text,
        figures={**known, "bench_min_per_m": minutes}, note=_("bench minutes from a list"),
    )  # fmt: skip


KINDS: Final[dict[str, Kind]] = {
    "parts": Kind(
        N_("Wear parts: price and rated life"),
        (
            "set", "kind", "name", "price", "rated starts", "in drawer", "low at", "lead days",
            "pack",
        ),
        ("set", "kind", "price"), _parts,
    ),
    "rates": Kind(
        N_("Rates: what an hour costs"), ("rate", "table", "amount", "from", "note"),
        ("rate", "amount", "from"), _rates,
    ),
    "bench": Kind(
        N_("Bench: minutes a metre of cut"), ("set", "material", "thickness", "minutes"),
        ("set", "material", "thickness", "minutes"), _bench,
    ),
}  # fmt: skip


def prices_bring(
    raw: bytes, *, kind: str, encoding: str = "utf-8", wages: bool
) -> tuple[int, list[Fault]]:
    """How many rows were written, and the faults; where there is one nothing is written. `wages`:
    whether who brings them may set wages. Raises ListError where the file cannot be read."""
    what = KINDS[kind]
    rows = read_table(raw, columns=what.columns, needed=what.needed, encoding=encoding)
    faults: list[Fault] = []
    with transaction.atomic():
        for row in rows:
            try:
                with transaction.atomic():
                    what.write(row, wages)
            except RowError as problem:
                faults.append(Fault(row.line, str(problem)))
            except ValidationError as problem:
                faults.append(Fault(row.line, " ".join(problem.messages)))
        if faults:
            transaction.set_rollback(True)
    return (0 if faults else len(rows)), faults


def _set_of(row: Row) -> WearSet:
    code = row.text("set")
    found = WearSet.objects.filter(code__iexact=code).first()
    if found is None:
        known = ", ".join(WearSet.objects.values_list("code", flat=True)) or _("none yet")
        raise RowError(
            _("set {code!r} is not known; the shop has: {known}").format(
                code=code[:40], known=known
            )
        )
    return found


def _one_of(row: Row, column: str, known: dict[str, str]) -> str:
    """By its code, which every language has, or by its label in the language of who brings it."""
    said = row.text(column).lower()
    code = said.replace(" ", "_")
    for value, label in known.items():
        if code == value or said == label.lower():
            return value
    raise RowError(
        _("{column} {said!r} is not known, allowed: {known}").format(
            column=column, said=said[:40], known=", ".join(known)
        )
    )


def _amount(row: Row, column: str) -> int:
    """In minor units of the shop's currency."""
    try:
        amount = money_of(row.text(column))
    except RowError:
        amount = None
    if amount is None:
        raise RowError(
            _("{column} {text!r} is not an amount such as 12.50").format(
                column=column, text=row.text(column)[:30]
            )
        )
    scaled = amount.scaleb(the_shop().currency_digits)
    return int(scaled.to_integral_value(ROUND_HALF_UP))


def _rated(row: Row, blank: int | None) -> int | None:
    rated = _whole(row, "rated starts", blank)
    if rated == 0:
        raise RowError(_("rated starts 0 is no life: leave it blank where nobody knows"))
    return rated


def _whole(row: Row, column: str, blank: int | None) -> int | None:
    text = row.text(column)
    if not text:
        return blank
    if not text.isascii() or not text.isdigit() or len(text) > 7:
        raise RowError(
            _("{column} {text!r} is not a whole number").format(column=column, text=text[:30])
        )
    return int(text)
