"""Measures of ISO 22400-2 by table, as lines with what they rest on."""

from __future__ import annotations

import uuid
from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, time, timedelta

from django.db.models import Count, Q, Sum

from planning.calc.indicators import Elements, Indicators, indicators
from planning.calc.spans import Span, intersect, length, subtract, union
from planning.inputs.chunks import chunked
from planning.inputs.shifts import ShiftBook
from shopfloor.models import Check, PartResult, RunDay, Stoppage, Table
from shopfloor.selectors.arcs import to_us

HOUR_S = 3600.0
US_HOUR = 3_600_000_000
OUTCOMES = ("good", "scrap", "rework")
CHANGE = "change"  # in the code of a reason: time spent setting up


@dataclass(frozen=True, slots=True)
class TableMeasures:
    """One table's elements (hours and pieces) and ratios. `measured_h` of `busy_h` of its runs are
    measured, the rest entered; `planned_share` of the burning had a plan (None: nothing burnt)."""

    table: str
    elements: Elements
    ratios: Indicators
    busy_h: float
    measured_h: float
    planned_share: float | None


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
    days: dict[int, list[_Day]] = defaultdict(list)
    for row in RunDay.objects.filter(shift_date__range=(first, last)):
        day = _Day(row.run_id, row.arc_s, row.elapsed_s, row.planned_arc_s, row.evidence)
        days[row.table_id].append(day)
    parts = _parts(day.run_id for own in days.values() for day in own)
    shifts = ShiftBook(_midnight(first), _midnight(last + timedelta(days=1)))
    stops = _stops(first, last, to_us(now))
    found = [
        _table(
            table.name,
            days[table.pk],
            parts,
            _worked(shifts, first, last, to_us(now), table.code),
            stops[table.pk],
        )
        for table in Table.objects.filter(active=True)
    ]
    return Measures(first, last, tuple(found))


@dataclass(frozen=True, slots=True)
class _Day:
    """A run's time on one shift date, in seconds."""

    run_id: uuid.UUID
    arc_s: float
    elapsed_s: float
    planned_arc_s: float | None
    evidence: str


@dataclass(slots=True)
class _Parts:
    good: int = 0
    scrap: int = 0
    rework: int = 0
    checked: int = 0
    passed: int = 0


@dataclass(slots=True)
class _Stops:
    """Spans of a table's stoppages in microseconds: changing sets, other planned, unplanned."""

    change: list[Span] = field(default_factory=list)
    planned: list[Span] = field(default_factory=list)
    delay: list[Span] = field(default_factory=list)


def _table(
    name: str, own: list[_Day], parts: dict[uuid.UUID, _Parts], worked: list[Span], stops: _Stops
) -> TableMeasures:
    runs = {day.run_id for day in own}
    made = [parts[run] for run in runs if run in parts]
    good, scrap = sum(one.good for one in made), sum(one.scrap for one in made)
    rework, checked = sum(one.rework for one in made), sum(one.checked for one in made)
    produced = good + scrap + rework
    arc_h = sum(day.arc_s for day in own) / HOUR_S
    busy_h = sum(day.elapsed_s for day in own) / HOUR_S
    planned, with_plan = _against_plan(own)
    per_arc = planned / with_plan if with_plan else None
    planned_busy = subtract(worked, union(stops.planned))
    change_h = _hours(stops.change, worked)
    known = bool(own)
    elements = Elements(
        apt=arc_h if known else None,
        aust=change_h,
        aupt=arc_h + change_h if known else None,
        aubt=busy_h if known else None,
        adet=_hours(stops.delay, worked),
        pbt=length(planned_busy) / US_HOUR if planned_busy else None,
        pri=per_arc * arc_h / produced if per_arc is not None and produced else None,
        pq=produced or None,
        gq=good if produced else None,
        sq=scrap if produced else None,
        rq=rework if produced else None,
        gp=sum(one.passed for one in made) if checked else None,
        ip=checked or None,
    )
    measured = sum(day.elapsed_s for day in own if day.evidence == "measured") / HOUR_S
    share = with_plan / HOUR_S / arc_h if arc_h else None
    return TableMeasures(name, elements, indicators(elements), busy_h, measured, share)


def _against_plan(own: list[_Day]) -> tuple[float, float]:
    """Planned and burnt seconds of the runs that had a plan and burnt: the same runs in both."""
    planned: dict[uuid.UUID, float] = {}
    burnt: dict[uuid.UUID, float] = defaultdict(float)
    for day in own:
        burnt[day.run_id] += day.arc_s
        if day.planned_arc_s is not None:
            planned[day.run_id] = day.planned_arc_s
    both = [run for run in planned if burnt[run] > 0]
    return sum(planned[run] for run in both), sum(burnt[run] for run in both)


def _hours(spans: list[Span], worked: list[Span]) -> float:
    return length(intersect(union(spans), worked)) / US_HOUR


def _worked(shifts: ShiftBook, first: date, last: date, now_us: int, table: str) -> list[Span]:
    """Time of these dates so far that somebody was scheduled at a table, breaks out."""
    spans: list[Span] = []
    breaks: list[Span] = []
    for shift in shifts.spans:
        if first <= shift.date <= last and shift.at_table(table):
            spans.append((to_us(shift.start), min(now_us, to_us(shift.end))))
            breaks += [(to_us(start), to_us(end)) for start, end, _ in shift.breaks]
    return subtract(union(span for span in spans if span[1] > span[0]), union(breaks))


def _stops(first: date, last: date, now_us: int) -> dict[int, _Stops]:
    day = timedelta(days=1)
    found: dict[int, _Stops] = defaultdict(_Stops)
    rows = Stoppage.objects.filter(
        started_at__gte=_midnight(first) - day, started_at__lt=_midnight(last) + 2 * day
    ).values_list("table_id", "started_at", "ended_at", "reason__code", "reason__planned")
    for table, started, ended, code, planned in rows:
        span = (to_us(started), to_us(ended) if ended else now_us)
        if span[1] <= span[0]:
            continue
        own = found[table]
        if CHANGE in (code or ""):
            own.change.append(span)
        elif planned:
            own.planned.append(span)
        else:
            own.delay.append(span)
    return found


def _parts(runs: Iterable[uuid.UUID]) -> dict[uuid.UUID, _Parts]:
    ids = sorted(set(runs))
    found: dict[uuid.UUID, _Parts] = defaultdict(_Parts)
    for run, outcome, quantity in chunked(
        ids,
        lambda some: (
            PartResult.objects.filter(run__in=some, outcome__in=OUTCOMES)
            .order_by()
            .values_list("run_id", "outcome")
            .annotate(all=Sum("quantity"))
        ),
    ):
        setattr(found[run], outcome, quantity)
    for run, checked, passed in chunked(
        ids,
        lambda some: (
            Check.objects.filter(run__in=some, passed__isnull=False)
            .order_by()
            .values("run_id")
            .annotate(checked=Count("pk"), good=Count("pk", filter=Q(passed=True)))
            .values_list("run_id", "checked", "good")
        ),
    ):
        found[run].checked, found[run].passed = checked, passed
    return dict(found)


def _midnight(day: date) -> datetime:
    return datetime.combine(day, time(0), tzinfo=UTC)
