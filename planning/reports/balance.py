"""Fine and fast, planned and burnt, day by day."""

from __future__ import annotations

import uuid
from collections import defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from itertools import groupby
from typing import NamedTuple

import pandas as pd
from django.db import connection
from django.db.models import (
    Case,
    Count,
    Expression,
    F,
    Func,
    IntegerField,
    Min,
    Q,
    Sum,
    Value,
    When,
)
from django.utils import timezone

from planning.calc.balance import UNASSIGNED, DayPart, balance
from planning.calc.spans import Span, intersect
from planning.inputs.entered import Entered, entered_days
from planning.inputs.shifts import ShiftBook
from planning.reports.frames import frame
from planning.reports.queue import Queued, queue_plans
from planning.reports.shapes import Coverage
from shopfloor.models import RunDay, Table
from shopfloor.runs.arcs import from_us, master_arcs, to_us
from shopfloor.runs.matching_input import LONGEST_US
from telemetry.counted import counted, feeds_counted
from telemetry.models import Rollup

QUARTER_US = 900_000_000
MOST_QUARTERS = 100  # in one query
NO_RUN = uuid.UUID(int=0)


@dataclass(frozen=True)
class Days:
    """What the minutes of some days are made of: of runs (`rows`, an evidence each), of what
    waits, and of what was entered for silent time; `parts` are their sums by day, table and duty,
    with all other burning as unassigned."""

    rows: list[RunRow]
    queued: list[tuple[date, Queued, float]]
    entered: list[Entered]
    parts: list[DayPart]


class RunRow(NamedTuple):
    """Seconds of the runs of a date, table, duty and evidence; of one run and its set where they
    are asked for."""

    day: date
    table_id: int
    duty: str
    evidence: str
    planned_s: float | None
    arc_s: float
    runs: int
    run: uuid.UUID = NO_RUN
    wear_set: int = 0


def balance_days(*, first: date, last: date) -> pd.DataFrame:
    """One row a shift date, table and duty: day, table, duty (fine, fast, unassigned), planned_min,
    burnt_min, runs. Burnt minutes are torch minutes; planned are of the runs begun that day and,
    from today on, of the queue worked through in its order in the shop's shifts. Units and coverage
    in `attrs`, with `known_from`: before that date no source was there. Twelve queries at most, and
    one for each table where a shift begins within a quarter hour."""
    shifts = ShiftBook(_midnight(first), _midnight(last + timedelta(days=1)))
    tables = {table.pk: table for table in Table.objects.all()}
    days = days_between(first, last, shifts, tables)
    entered = sum(row.arc_s for row in days.rows if row.evidence != "measured")
    told_s = sum(one.seconds for one in days.entered)
    unassigned = sum(part.burnt_s for part in days.parts if part.duty == UNASSIGNED)
    measured = sum(part.burnt_s for part in days.parts) - unassigned - told_s
    return frame(
        "day table duty planned_min burnt_min runs",
        [
            (
                part.day,
                tables[part.table].name,
                part.duty,
                part.planned_s / 60,
                part.burnt_s / 60,
                part.runs,
            )
            for part in days.parts
        ],
        coverage=Coverage(measured=measured, entered=told_s, planned=entered, unknown=unassigned),
        known_from=_known_from(shifts),
    )


def days_between(
    first: date, last: date, shifts: ShiftBook, tables: dict[int, Table], *, each: bool = False
) -> Days:
    """`shifts` reach from the first to the last date, and from today on where any of them is to
    come; `each` gives a row a run."""
    rows = _run_rows(first, last, each=each)
    queued = _queued(first, last, shifts)
    entered = entered_days(first, last, shifts, tables.values())
    parts = [
        DayPart(row.day, row.table_id, row.duty, row.planned_s or 0.0, row.arc_s, row.runs)
        for row in rows
    ]
    parts += [
        DayPart(day, item.table_id, item.duty, planned_s=arc_s) for day, item, arc_s in queued
    ]
    burnt_s = _burnt(first, last, tables, shifts)
    for one in entered:
        burnt_s[one.day, one.table_id] = burnt_s.get((one.day, one.table_id), 0.0) + one.seconds
        if one.duty != UNASSIGNED:
            parts.append(DayPart(one.day, one.table_id, one.duty, burnt_s=one.seconds))
    return Days(rows, queued, entered, balance(parts, burnt_s))


def _run_rows(first: date, last: date, *, each: bool) -> list[RunRow]:
    found = RunDay.objects.filter(shift_date__range=(first, last)).order_by()
    by = ("shift_date", "table_id", "wear_set__duty", "evidence")
    sums = Sum("planned_arc_s"), Sum("arc_s"), Count("run", distinct=True)
    if not each:
        return [RunRow(*row) for row in found.values_list(*by).annotate(*sums)]
    rows = found.values_list(*by, "run_id", "wear_set_id").annotate(*sums)
    return [RunRow(*row[:4], *row[6:], *row[4:6]) for row in rows]


def _known_from(shifts: ShiftBook) -> date | None:
    """The first date on which a source was there or had burnt; None: there is none. What burnt
    before it nobody knows."""
    begun = feeds_counted().aggregate(us=Min("created_us"))["us"]
    # The first row by the index: for a minimum over sources PostgreSQL reads the whole table.
    rows = counted(Rollup.objects.all(), at="bucket_us").order_by("bucket_us")
    burnt = rows.values_list("bucket_us", flat=True).first()
    first = min((us for us in (begun, burnt) if us is not None), default=None)
    return None if first is None else from_us(first).astimezone(shifts.zone).date()


def _midnight(day: date) -> datetime:
    return datetime.combine(day, time(0), tzinfo=UTC)


def _queued(first: date, last: date, shifts: ShiftBook) -> list[tuple[date, Queued, float]]:
    """The queue worked through in its order from now on, table by table, in the shop's shifts."""
    if shifts.date_of(to_us(timezone.now())) > last:
        return []
    return [row for row in queued_by_day(shifts) if first <= row[0] <= last]


def queued_by_day(shifts: ShiftBook) -> Iterator[tuple[date, Queued, float]]:
    """Each waiting item with a plan, the shift date it begins on and its planned arc seconds."""
    now_us = to_us(timezone.now())
    codes = dict(Table.objects.values_list("pk", "code"))
    at: dict[int, int] = {}
    worked: dict[int, list[Span]] = {}
    for item in queue_plans(jobs=False):
        if item.table_id not in worked:
            own = shifts.open_at(codes[item.table_id])
            worked[item.table_id] = [span for span in own if span[1] > now_us]
        begun = _at_work(at.get(item.table_id, now_us), worked[item.table_id])
        if item.arc_s is None or item.total_s is None or begun is None:
            continue
        day = shifts.date_of(begun)
        at[item.table_id] = begun + round(item.total_s * 1_000_000)
        yield day, item, item.arc_s


def _at_work(at_us: int, worked: list[Span]) -> int | None:
    """The first instant from `at_us` on at which the table is at work; None after the last one laid
    out. A nest begun in one is taken to be finished, its time over the end not cut off."""
    return next((max(at_us, start) for start, end in worked if end > at_us), None)


def _burnt(
    first: date, last: date, tables: dict[int, Table], shifts: ShiftBook
) -> dict[tuple[date, int], float]:
    """All torch seconds by shift date and table, from the rollups of the sources that count."""
    by_code = {table.code: table for table in tables.values()}
    start = to_us(_midnight(first - timedelta(days=1)))
    end = to_us(_midnight(last + timedelta(days=2)))
    pieces = _pieces(start, end, shifts)
    rows = (
        counted(Rollup.objects.filter(bucket_us__gte=start, bucket_us__lt=end), at="bucket_us")
        .order_by()
        .annotate(place=_place([until for _, until, _ in pieces]))
        .values_list("table", "place")
        .annotate(Sum("burn_us"))
    )
    burnt: dict[tuple[date, int], int] = defaultdict(int)
    split: dict[Table, list[Span]] = defaultdict(list)
    for code, place, us in rows:
        table, (begun, until, day) = by_code.get(code), pieces[place]
        if table is not None and day is None:
            split[table].append((begun, until))
        elif table is not None and day is not None:
            burnt[day, table.pk] += us
    for table, quarters in split.items():
        for at, us in _arcs_in(table, sorted(quarters), shifts):
            burnt[at, table.pk] += us
    return {key: us / 1_000_000 for key, us in burnt.items() if first <= key[0] <= last}


def _pieces(start: int, end: int, shifts: ShiftBook) -> list[tuple[int, int, date | None]]:
    """The time from `start` to `end`, both on a quarter hour, in whole quarters that are booked on
    one date, and the single quarters (None) in which the date changes."""
    found: list[tuple[int, int, date | None]] = []
    done = at = start
    for day, own in groupby(shifts.by_date((start, end)), key=lambda part: part[0]):
        begun, at = at, at + sum(us for _, us in own)
        whole, until = -(-begun // QUARTER_US) * QUARTER_US, at // QUARTER_US * QUARTER_US
        if until > whole:
            found += [(mixed, mixed + QUARTER_US, None) for mixed in range(done, whole, QUARTER_US)]
            found.append((whole, until, day))
            done = until
    found += [(mixed, mixed + QUARTER_US, None) for mixed in range(done, end, QUARTER_US)]
    return found


def _place(ends: Sequence[int]) -> Expression:
    """Which of the stretches that end so a quarter hour lies in."""
    if connection.vendor == "sqlite" or len(ends) == 1:
        return _by_halves(ends)
    borders = Value(list(ends[:-1]))
    return Func(F("bucket_us"), borders, function="width_bucket", output_field=IntegerField())


def _by_halves(ends: Sequence[int], first: int = 0) -> Case | Value:
    """The same, counted from `first`, where the database knows no such function: told by halves,
    so that it compares each row seven times and not ninety."""
    if len(ends) == 1:
        return Value(first)
    half = len(ends) // 2
    before = When(bucket_us__lt=ends[half - 1], then=_by_halves(ends[:half], first))
    return Case(before, default=_by_halves(ends[half:], first + half))


def _arcs_in(table: Table, quarters: list[Span], shifts: ShiftBook) -> Iterator[tuple[date, int]]:
    """Burning by date within quarters that a shift's border divides: from the arcs themselves."""
    for at in range(0, len(quarters), MOST_QUARTERS):
        some = quarters[at : at + MOST_QUARTERS]
        near = Q()
        for start, end in some:
            near |= Q(on_us__gt=start - LONGEST_US, on_us__lt=end, off_us__gt=start)
        for on_us, off_us in master_arcs(table).filter(near).values_list("on_us", "off_us"):
            for span in intersect([(on_us, off_us or on_us)], some):
                yield from shifts.by_date(span)
