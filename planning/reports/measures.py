"""Measures of ISO 22400-2 by table, as lines with what they rest on."""

from __future__ import annotations

import uuid
from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from typing import Any

from django.db.models import Count, Q, QuerySet, Sum

from planning.calc.indicators import Elements, Indicators, indicators
from planning.calc.spans import Span, intersect, length, subtract, union
from planning.inputs.shifts import ShiftBook
from shopfloor.models import Check, Evidence, PartResult, RunDay, Stoppage, Table
from shopfloor.selectors.arcs import to_us

HOUR_S = 3600.0
US_HOUR = 3_600_000_000
OUTCOMES = ("good", "scrap", "rework")
DAY_FIELDS = (
    "run_id", "arc_s", "elapsed_s", "planned_arc_s", "evidence",
    "entered_s", "entered_arc_s", "unknown_s",
)  # fmt: skip
CHANGE = "change"  # in the code of a reason: time spent setting up


@dataclass(frozen=True, slots=True)
class TableMeasures:
    """One table's elements (hours and pieces) and ratios. Of the `busy_h` of its runs
    `measured_h` are measured and `unknown_h` unknown, the rest entered; `planned_share` of
    the burning had a plan (None: nothing burnt): `with_plan_h`, planned as `planned_h`."""

    table_id: int
    table: str
    elements: Elements
    ratios: Indicators
    busy_h: float
    measured_h: float
    unknown_h: float
    planned_share: float | None
    planned_h: float
    with_plan_h: float


@dataclass(frozen=True, slots=True)
class Measures:
    first: date
    last: date
    tables: tuple[TableMeasures, ...]


def measures(*, first: date, last: date, now: datetime) -> Measures:
    """Shift dates from `first` to `last`, as far as they are over by `now`, by table in use. Runs
    count for the dates they burnt on, parts and checks for their runs. Eight queries or a few
    more. Raises `ValueError` for dates the wrong way round."""
    if last < first:
        raise ValueError(f"{first} is after {last}")
    tables = list(Table.objects.filter(active=True))
    bases = measure_bases(first, last, now, tables)
    return Measures(first, last, tuple(table_measures(bases[table.pk]) for table in tables))


@dataclass(frozen=True)
class Base:
    """What one table's measures are made of; `shifts` are the shifts so far, breaks among them."""

    table: Table
    days: list[Day]
    parts: dict[uuid.UUID, Parts]
    shifts: list[tuple[date, str, Span]]
    breaks: list[Span]
    stops: list[Stop]

    @property
    def worked(self) -> list[Span]:
        """Time that somebody was scheduled, breaks out."""
        return subtract(union(span for _, _, span in self.shifts), union(self.breaks))

    def stopped(self, sort: str) -> list[Span]:
        return [stop.span for stop in self.stops if stop.sort == sort]


def measure_bases(
    first: date, last: date, now: datetime, tables: Iterable[Table]
) -> dict[int, Base]:
    """By table id."""
    days: dict[int, list[Day]] = defaultdict(list)
    burnt = RunDay.objects.filter(shift_date__range=(first, last))
    for row in burnt.values_list("table_id", *DAY_FIELDS, named=True):
        days[row.table_id].append(_day(row))
    parts = _parts(burnt.order_by().values("run_id"))
    shifts = ShiftBook(_midnight(first), _midnight(last + timedelta(days=1)))
    stops = _stops(first, last, to_us(now))
    return {
        table.pk: Base(
            table,
            days[table.pk],
            parts,
            *_shifts(shifts, first, last, to_us(now), table.code),
            stops[table.pk],
        )
        for table in tables
    }


@dataclass(frozen=True, slots=True)
class Day:
    """A run's time on one shift date, in seconds."""

    run_id: uuid.UUID
    arc_s: float
    elapsed_s: float
    planned_arc_s: float | None
    measured_s: float
    unknown_s: float


def _day(row: Any) -> Day:
    """Of a row's `DAY_FIELDS`; burning as it was heard and as it was entered for what was not."""
    unheard = row.entered_s + row.unknown_s
    measured = row.elapsed_s - unheard if row.evidence == Evidence.MEASURED else 0.0
    burnt = row.arc_s + row.entered_arc_s
    return Day(row.run_id, burnt, row.elapsed_s, row.planned_arc_s, measured, row.unknown_s)


@dataclass(slots=True)
class Parts:
    good: int = 0
    scrap: int = 0
    rework: int = 0
    checked: int = 0
    passed: int = 0


@dataclass(frozen=True, slots=True)
class Stop:
    """A stoppage in microseconds; `sort` is CHANGE, "planned" or "delay"."""

    span: Span
    sort: str
    label: str
    run_id: uuid.UUID | None


def table_measures(base: Base) -> TableMeasures:
    own, parts, worked = base.days, base.parts, base.worked
    runs = {day.run_id for day in own}
    made = [parts[run] for run in runs if run in parts]
    good, scrap = sum(one.good for one in made), sum(one.scrap for one in made)
    rework, checked = sum(one.rework for one in made), sum(one.checked for one in made)
    produced = good + scrap + rework
    arc_h = sum(day.arc_s for day in own) / HOUR_S
    busy_h = sum(day.elapsed_s for day in own) / HOUR_S
    planned, with_plan = against_plan(own)
    per_arc = planned / with_plan if with_plan else None
    planned_busy = subtract(worked, union(base.stopped("planned")))
    change_h = _hours(base.stopped(CHANGE), worked)
    known = bool(own)
    elements = Elements(
        apt=arc_h if known else None,
        aust=change_h,
        aupt=arc_h + change_h if known else None,
        aubt=busy_h if known else None,
        adet=_hours(base.stopped("delay"), worked),
        pbt=length(planned_busy) / US_HOUR if planned_busy else None,
        pri=per_arc * arc_h / produced if per_arc is not None and produced else None,
        pq=produced or None,
        gq=good if produced else None,
        sq=scrap if produced else None,
        rq=rework if produced else None,
        gp=sum(one.passed for one in made) if checked else None,
        ip=checked or None,
    )
    measured_h = sum(day.measured_s for day in own) / HOUR_S
    unknown_h = sum(day.unknown_s for day in own) / HOUR_S
    share = with_plan / HOUR_S / arc_h if arc_h else None
    return TableMeasures(
        base.table.pk,
        base.table.name,
        elements,
        indicators(elements),
        busy_h,
        measured_h,
        unknown_h,
        share,
        planned / HOUR_S,
        with_plan / HOUR_S,
    )


def against_plan(own: list[Day]) -> tuple[float, float]:
    """Planned and burnt seconds of the runs that had a plan and burnt: the same runs in both."""
    both = plan_by_run(own)
    return sum(plan for plan, _ in both.values()), sum(burnt for _, burnt in both.values())


def plan_by_run(own: list[Day]) -> dict[uuid.UUID, tuple[float, float]]:
    """By run that had a plan and burnt: its planned and burnt seconds."""
    planned: dict[uuid.UUID, float] = {}
    burnt: dict[uuid.UUID, float] = defaultdict(float)
    for day in own:
        burnt[day.run_id] += day.arc_s
        if day.planned_arc_s is not None:
            planned[day.run_id] = day.planned_arc_s
    return {run: (planned[run], burnt[run]) for run in planned if burnt[run] > 0}


def _hours(spans: list[Span], worked: list[Span]) -> float:
    return length(intersect(union(spans), worked)) / US_HOUR


def _shifts(
    book: ShiftBook, first: date, last: date, now_us: int, table: str
) -> tuple[list[tuple[date, str, Span]], list[Span]]:
    """The shifts of these dates so far that somebody was scheduled for at a table, and breaks."""
    shifts: list[tuple[date, str, Span]] = []
    breaks: list[Span] = []
    for shift in book.spans:
        if first <= shift.date <= last and shift.at_table(table):
            span = to_us(shift.start), min(now_us, to_us(shift.end))
            if span[1] > span[0]:
                shifts.append((shift.date, shift.name, span))
            breaks += [(to_us(start), to_us(end)) for start, end, _ in shift.breaks]
    return shifts, breaks


def _stops(first: date, last: date, now_us: int) -> dict[int, list[Stop]]:
    day = timedelta(days=1)
    found: dict[int, list[Stop]] = defaultdict(list)
    rows = Stoppage.objects.filter(
        started_at__gte=_midnight(first) - day, started_at__lt=_midnight(last) + 2 * day
    ).order_by("started_at", "pk")
    fields = "table_id", "started_at", "ended_at", "reason__code", "reason__planned"
    for table, started, ended, code, planned, label, run in rows.values_list(
        *fields, "reason__label", "run_id"
    ):
        span = (to_us(started), to_us(ended) if ended else now_us)
        if span[1] > span[0]:
            sort = CHANGE if CHANGE in (code or "") else "planned" if planned else "delay"
            found[table].append(Stop(span, sort, label or "no reason given yet", run))
    return found


def _parts(runs: QuerySet[RunDay, Any]) -> dict[uuid.UUID, Parts]:
    """By run; two queries, however many runs the one given names."""
    found: dict[uuid.UUID, Parts] = defaultdict(Parts)
    results = PartResult.objects.filter(run__in=runs, outcome__in=OUTCOMES).order_by()
    for run, outcome, quantity in results.values_list("run_id", "outcome").annotate(
        all=Sum("quantity")
    ):
        setattr(found[run], outcome, quantity)
    checks = Check.objects.filter(run__in=runs, passed__isnull=False).order_by()
    for run, checked, passed in (
        checks.values("run_id")
        .annotate(checked=Count("pk"), good=Count("pk", filter=Q(passed=True)))
        .values_list("run_id", "checked", "good")
    ):
        found[run].checked, found[run].passed = checked, passed
    return dict(found)


def _midnight(day: date) -> datetime:
    return datetime.combine(day, time(0), tzinfo=UTC)
