"""Some days by table and shift: planned and worked time, cutting, pace and stops, from the stored
figures of days; jobs that were due; and who worked how long."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

from django.db.models import Count, DurationField, ExpressionWrapper, F, Sum

from planning.calc.spans import intersect, length, subtract, union
from planning.inputs.microseconds import Microseconds
from planning.reports.measure_times import DELAY, Base, planned_spans
from planning.reports.measures import measure_bases
from shopfloor.models import Job, JobState, RunDay, Segment, Table
from shopfloor.site.calendar import day_span
from shopfloor.site.queries import shop_zone

US = 1_000_000


@dataclass(slots=True)
class Cell:
    """One table in one shift, or several of them added up, in seconds. `planned_s` is the shift so
    far less breaks and planned stops (None: no shift is set, so nobody knows); `worked_s` what its
    runs took; `pace_burnt_s` is the cutting that had a plan, of `pace_plan_s`. A run counts for
    the shift it was opened in (`start_us`)."""

    table_id: int
    table: str
    day: date | None
    shift: str
    planned_s: float | None = None
    stopped_s: float = 0.0
    stops: int = 0
    start_us: int = 0
    runs: set[object] = field(default_factory=set)
    worked_s: float = 0.0
    cut_s: float = 0.0
    unknown_s: float = 0.0
    pace_plan_s: float = 0.0
    pace_burnt_s: float = 0.0

    @property
    def pace(self) -> float | None:
        """Planned cutting over what it took; above 1 is faster than planned."""
        return self.pace_plan_s / self.pace_burnt_s if self.pace_burnt_s else None


@dataclass(slots=True)
class Due:
    """Jobs due on these days: closed by then, closed later, and not closed though it is past."""

    day: date | None
    due: int = 0
    in_time: int = 0
    late: int = 0
    owed: int = 0


@dataclass(frozen=True, slots=True)
class Person:
    name: str
    table: str
    runs: int
    seconds: float


@dataclass(frozen=True, slots=True)
class Glance:
    first: date
    last: date
    sums: list[Cell]
    days: list[Cell]
    due: list[Due]
    due_sum: Due
    persons: list[Person]


def glance(*, first: date, last: date, now: datetime, persons: bool) -> Glance:
    """Shift dates from `first` to `last`. A dozen statements, each bounded by these dates. Without
    `persons` nobody is named."""
    tables = list(Table.objects.filter(active=True))
    bases = measure_bases(first, last, now, tables)
    cells = [cell for table in tables for cell in _of_shifts(bases[table.pk])]
    _runs(cells, tables, first, last)
    cells.sort(key=lambda cell: cell.day or first)
    due = _due(first, last, now)
    return Glance(
        first,
        last,
        _added(cells),
        [cell for cell in reversed(cells) if cell.planned_s or cell.runs or cell.stops],
        [one for one in reversed(due) if one.due],
        _due_sum(due),
        _persons(first, last) if persons else [],
    )


def _of_shifts(base: Base) -> list[Cell]:
    planned_stops, found = planned_spans(base), []
    delays = [stop.span for stop in base.stops if stop.sort == DELAY]
    breaks = union(base.breaks)
    for shift in base.shifts:
        own = subtract(subtract([shift.span], breaks), planned_stops)
        inside = [one for one in delays if one[0] < shift.span[1] and one[1] > shift.span[0]]
        found.append(
            Cell(
                base.table.pk,
                base.table.name,
                shift.day,
                shift.name,
                planned_s=length(own) / US,
                stopped_s=length(intersect(union(inside), own)) / US,
                stops=len(inside),
                start_us=shift.span[0],
            )
        )
    return found


def _runs(cells: list[Cell], tables: Sequence[Table], first: date, last: date) -> None:
    """Puts each run's day into the shift it was opened in, else the first one of that day; where
    none is set, into a row of its own."""
    by_day: dict[tuple[int, date], list[Cell]] = defaultdict(list)
    for cell in cells:
        if cell.day is not None:
            by_day[cell.table_id, cell.day].append(cell)
    names = {table.pk: table.name for table in tables}
    rows = RunDay.objects.filter(shift_date__range=(first, last), table__in=names)
    for table, day, run, opened_us, burnt, entered, elapsed, planned, unknown in rows.values_list(
        "table", "shift_date", "run", Microseconds("run__opened_at"), "arc_s", "entered_arc_s",
        "elapsed_s", "planned_arc_s", "unknown_s",
    ):  # fmt: skip
        own = by_day[table, day]
        if not own:
            own.append(Cell(table, names[table], day, ""))
            cells.append(own[0])
        cell = next((one for one in reversed(own) if one.start_us <= opened_us), own[0])
        cell.runs.add(run)
        cell.worked_s += elapsed
        cell.cut_s += burnt + entered
        cell.unknown_s += unknown
        if planned is not None and burnt + entered > 0:
            cell.pace_plan_s += planned
            cell.pace_burnt_s += burnt + entered


def _added(cells: Sequence[Cell]) -> list[Cell]:
    """By table and name of the shift, in the order they come first."""
    found: dict[tuple[int, str], Cell] = {}
    for cell in sorted(cells, key=lambda one: one.table_id):
        key = cell.table_id, cell.shift
        whole = found.setdefault(key, Cell(cell.table_id, cell.table, None, cell.shift))
        if cell.planned_s is not None:
            whole.planned_s = (whole.planned_s or 0.0) + cell.planned_s
        whole.runs |= cell.runs
        for name in ("stopped_s", "stops", "worked_s", "cut_s", "unknown_s", "pace_plan_s",
                     "pace_burnt_s"):  # fmt: skip
            setattr(whole, name, getattr(whole, name) + getattr(cell, name))
    return [cell for cell in found.values() if cell.planned_s or cell.runs]


def _due(first: date, last: date, now: datetime) -> list[Due]:
    zone = ZoneInfo(shop_zone())
    start, end = day_span(first, zone)[0], day_span(last, zone)[1]
    days = {first + timedelta(days=n): Due(first + timedelta(days=n))
            for n in range((last - first).days + 1)}  # fmt: skip
    rows = Job.objects.filter(due_at__gte=start, due_at__lt=end)
    for due_at, closed_at, state in rows.values_list("due_at", "closed_at", "state"):
        if due_at is None:
            continue
        one = days[due_at.astimezone(zone).date()]
        one.due += 1
        if state == JobState.CLOSED and closed_at is not None:
            one.in_time += closed_at <= due_at
            one.late += closed_at > due_at
        else:
            one.owed += due_at <= now
    return list(days.values())


def _due_sum(days: Sequence[Due]) -> Due:
    names = ("due", "in_time", "late", "owed")
    return Due(None, *(sum(getattr(one, name) for one in days) for name in names))


def _persons(first: date, last: date) -> list[Person]:
    """Time at runs, by who was on record for it."""
    took = ExpressionWrapper(F("ended_at") - F("started_at"), output_field=DurationField())
    runs = RunDay.objects.filter(shift_date__range=(first, last)).order_by().values("run")
    rows = (
        Segment.objects.filter(run__in=runs, ended_at__isnull=False)
        .exclude(operator=None)
        .order_by()
        .values("operator__first_name", "operator__last_name", "operator__username",
                "run__table__name")
        .annotate(runs=Count("run", distinct=True), took=Sum(took))
    )  # fmt: skip
    found = [
        Person(
            f"{row['operator__first_name']} {row['operator__last_name']}".strip()
            or row["operator__username"],
            row["run__table__name"],
            row["runs"],
            row["took"].total_seconds(),
        )
        for row in rows
    ]
    return sorted(found, key=lambda one: (one.name, one.table))
