"""Stock, and which heat went into which part."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import datetime

from django.db.models import Count, Min, Q, QuerySet, Sum
from django.db.models.functions import Coalesce

from shopfloor.models import Heat, PartResult, QueueItem, Run, Sheet, SheetState


def stock_list(*, text: str = "", state: str = SheetState.IN_STOCK) -> QuerySet[Sheet]:
    """Sheets and remnants by material and thickness; those that are gone, of which there is no end,
    the newest first. `text` looks in code, heat, owner, place and material; `state` blank: all."""
    sheets = _sheets(Sheet.objects.all())
    if state:
        sheets = sheets.filter(state=state)
    if text:
        sheets = sheets.filter(
            Q(code__icontains=text)
            | Q(heat__number__icontains=text)
            | Q(owner__name__icontains=text)
            | Q(place__icontains=text)
            | Q(material__code__icontains=text)
        )
    if state in (SheetState.IN_STOCK, SheetState.ON_TABLE):
        return sheets.order_by("material__code", "thickness_mm", "-area_mm2", "code")
    return sheets.order_by("-pk")


@dataclass(frozen=True, slots=True)
class StockTotal:
    """Of the cost `unknown` of the shop's own sheets are missing; customers' have none."""

    area_mm2: float
    cost_minor: int
    unknown: int


def stock_total(sheets: QuerySet[Sheet]) -> StockTotal:
    """All the sheets of a `stock_list` together, on whatever page they stand."""
    found = sheets.order_by().aggregate(
        area=Sum("area_mm2"),
        cost=Sum("cost_minor", filter=Q(owner=None)),
        unknown=Count("pk", filter=Q(owner=None, cost_minor=None)),
    )
    return StockTotal(found["area"] or 0.0, found["cost"] or 0, found["unknown"])


def _sheets(sheets: QuerySet[Sheet]) -> QuerySet[Sheet]:
    """With what is said of each. Materials come by a statement of their own: joined, SQLite would
    begin with them and go through all sheets of each."""
    return sheets.select_related("heat", "owner", "parent").prefetch_related("material")


def heats_list(*, text: str = "") -> QuerySet[Heat]:
    """Heats by number."""
    heats = Heat.objects.select_related("material")
    return (heats.filter(number__icontains=text) if text else heats).order_by("number")


def sheets_of(heats: Iterable[Heat]) -> dict[int, tuple[int, datetime]]:
    """How many sheets of each heat came, remnants among them, and when the first did."""
    sheets = Sheet.objects.filter(heat__in=list(heats)).order_by()
    rows = sheets.values_list("heat").annotate(Count("pk"), Min("received_at"))
    return {heat: (count, first) for heat, count, first in rows}


@dataclass(slots=True)
class PartsOf:
    """Parts a run gave for one line."""

    job_id: int
    job: str
    line: int
    part: str
    good: int = 0
    scrap: int = 0


@dataclass(slots=True)
class TracedRun:
    run: Run
    parts: list[PartsOf] = field(default_factory=list)


@dataclass(slots=True)
class TracedSheet:
    sheet: Sheet
    runs: list[TracedRun] = field(default_factory=list)


def trace_sheets(sheets: QuerySet[Sheet]) -> list[TracedSheet]:
    """Sheet by sheet the runs on it and what they gave; three queries whatever the size."""
    traced = {sheet.pk: TracedSheet(sheet) for sheet in _sheets(sheets)}
    runs = {
        run.pk: TracedRun(run)
        for run in Run.objects.filter(sheet__in=list(traced))
        .exclude(state="voided")
        .select_related("table", "revision__nest")
        .defer("plan", "revision__program")
        .order_by("opened_at")
    }
    for traced_run in runs.values():
        if traced_run.run.sheet_id is not None:
            traced[traced_run.run.sheet_id].runs.append(traced_run)
    parts: dict[tuple[object, int], PartsOf] = {}
    for row in (
        PartResult.objects.filter(run__in=list(runs))
        .values(
            "run_id", "line_id", "line__number", "line__part", "line__job_id", "line__job__number"
        )
        .annotate(
            good=Coalesce(Sum("quantity", filter=Q(outcome="good")), 0),
            scrap=Coalesce(Sum("quantity", filter=Q(outcome="scrap")), 0),
        )
        .order_by("line__job__number", "line__number")
    ):
        part = PartsOf(
            row["line__job_id"],
            row["line__job__number"],
            row["line__number"],
            row["line__part"],
            row["good"],
            row["scrap"],
        )
        parts[row["run_id"], row["line_id"]] = part
        runs[row["run_id"]].parts.append(part)
    return list(traced.values())


def heat_jobs(traced: list[TracedSheet]) -> list[tuple[int, str, int, int]]:
    """Job id, number, good and scrap parts, over everything traced."""
    sums: dict[int, tuple[str, int, int]] = {}
    for sheet in traced:
        for run in sheet.runs:
            for part in run.parts:
                _, good, scrap = sums.get(part.job_id, ("", 0, 0))
                sums[part.job_id] = (part.job, good + part.good, scrap + part.scrap)
    return sorted(
        ((pk, job, good, scrap) for pk, (job, good, scrap) in sums.items()),
        key=lambda row: row[1],
    )


def sheet_promised(sheet: Sheet) -> QueueItem | None:
    """The place on a table's list a sheet is kept for."""
    return (
        QueueItem.objects.filter(sheet=sheet, state__in=("waiting", "running"))
        .select_related("nest", "table")
        .first()
    )
