"""What quotes are held against: prices as they stand, and what closed jobs cost."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from datetime import datetime
from typing import Any

from django.db.models import QuerySet, Sum
from django.utils.translation import gettext as _

from planning.calc.cost import rounded
from planning.calc.quote import Split, material_split
from planning.inputs.chunks import chunked
from planning.inputs.rates import rate_book
from planning.services.quote_pricing import sheet_price
from shopfloor.models import (
    Drawing,
    JobState,
    Nest,
    Posting,
    Quote,
    QuoteLine,
    Run,
    RunState,
    SetPart,
    Sheet,
)
from shopfloor.site.queries import shift_date_of

RATED = ("machine", "labour", "bench", "gas", "energy")


def stands_of(quote: Quote, now: datetime) -> Stands:
    """What one quote is held against, the sheets its closed job took among it."""
    closed = [quote.job.pk] if quote.job and quote.job.state == JobState.CLOSED else []
    stands = Stands(now, dict(chunked(closed, costs_of)))
    for job, sheet, cost in chunked(closed, burnt_sheets):
        stands.sheets[job][sheet] = cost
    return stands


class Stands:
    """What quotes are held against, read once for all of them: today's rates and prices, and
    `actual`, what closed jobs cost."""

    def __init__(self, now: datetime, actual: Mapping[int, int]) -> None:
        self.day = shift_date_of(now)
        self.rates = rate_book()
        self.parts: dict[int, list[tuple[str, int | None]]] = defaultdict(list)
        for wear_set, name, price in SetPart.objects.values_list(
            "wear_set_id", "name", "price_minor"
        ):
            self.parts[wear_set].append((name, price))
        self._sheets: dict[tuple[int, float], Sheet | None] = {}
        self.actual = actual
        self.sheets: dict[int, dict[int, int | None]] = defaultdict(dict)

    def sheet(self, of: Nest | Drawing) -> Sheet | None:
        """The sheet it would be priced at: one query for each kind of plate."""
        key = (of.material_id, of.thickness_mm)
        if key not in self._sheets:
            self._sheets[key] = sheet_price(of)
        return self._sheets[key]


def costs_of(jobs: Sequence[int]) -> QuerySet[Any, Any]:
    """(job, minor units) of what was posted for each, material apart."""
    rows = Posting.objects.filter(line__job__in=jobs).exclude(kind__in=("material", "credit"))
    summed = rows.order_by().values("line__job_id").annotate(all=Sum("amount_minor"))
    return summed.values_list("line__job_id", "all")


def burnt_sheets(jobs: Sequence[int]) -> QuerySet[Any, Any]:
    """(job, sheet, its cost) of finished runs of each, every sheet once."""
    job = "revision__contours__line__job"
    runs = Run.objects.filter(**{f"{job}__in": jobs}, state=RunState.FINISHED).exclude(sheet=None)
    return runs.order_by().values_list(f"{job}_id", "sheet_id", "sheet__cost_minor").distinct()


def moved_since(lines: Sequence[QuoteLine], stands: Stands) -> list[str]:
    """What of the rates, the wear parts or the sheet is not as it was priced."""
    found: dict[str, None] = {}
    for line in lines:
        of = line_of(line)
        for kind in RATED:
            was = (line.made_from.get("rates", {}).get(kind) or {}).get("minor")
            rate = stands.rates.on(kind, stands.day, line.table_id)
            costs = rate.amount_minor if rate else None
            if was != costs:
                found[f"{kind} {change_of(was, costs)}"] = None
        parts = {part["part"]: part["price_minor"] for part in line.made_from.get("wear", ())}
        for name, price in stands.parts[line.wear_set_id]:
            if parts.get(name) != price:
                found[f"{name} {change_of(parts.get(name), price)}"] = None
        sheet = stands.sheet(of)
        was = (line.made_from.get("sheet") or {}).get("minor")
        costs = sheet.cost_minor if sheet else None
        if was != costs:
            found[f"{of.material.code} {of.thickness_text} sheet {change_of(was, costs)}"] = None
    return list(found)


def line_of(line: QuoteLine) -> Nest | Drawing:
    """What a line is of."""
    if line.drawing is not None:
        return line.drawing.drawing
    if line.revision is None:
        raise LookupError(_("line {line} names neither nest nor drawing").format(line=line.pk))
    return line.revision.nest


def change_of(was: int | None, now: int | None) -> str:
    if was is None or now is None:
        return _("is known now") if was is None else _("is not known any more")
    share = abs(now - was) / was if was else 0.0
    return (_("dearer by {share:.1%}") if now > was else _("cheaper by {share:.1%}")).format(
        share=share
    )


def material_difference(quote: Quote, lines: Sequence[QuoteLine], stands: Stands) -> Split | None:
    """Sheets quoted against sheets burnt, where both prices are known and all is of one kind."""
    job = quote.job_id or 0
    costs = stands.sheets.get(job)  # none in a list
    if job not in stands.actual or not costs or any(cost is None for cost in costs.values()):
        return None
    if len(lines) != 1 or lines[0].material_minor is None:
        return None
    share = lines[0].made_from.get("sheets_share")
    quoted = lines[0].sheets if share is None else share
    each = sum(cost or 0 for cost in costs.values()) / len(costs)
    found = material_split(lines[0].material_minor / quoted, quoted, each, len(costs))
    whole = sum(cost or 0 for cost in costs.values()) - lines[0].material_minor
    return Split(rounded(found.price), whole - rounded(found.price))
