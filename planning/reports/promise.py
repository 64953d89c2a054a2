"""When each open job will be done, and how full the tables are: the shop's promises.

Everything is drawn from the work as it stands and from each table's stored time; nothing is
fitted here."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from functools import cached_property
from itertools import pairwise
from typing import Final

import numpy as np

from planning.calc.ahead.promise import (
    HARDLY,
    LEVELS,
    WILL,
    Drawn,
    TableAhead,
    chance,
    drawn,
    load_s,
    promised,
)
from planning.calc.said import said
from planning.calc.spans import intersect
from planning.inputs.open_work import JobAhead, OpenWork, open_work
from planning.inputs.shifts import ShiftBook
from shopfloor.chart.duties import SQUARE
from shopfloor.models import ClosedDay, WearSet
from shopfloor.runs.arcs import from_us, to_us
from shopfloor.site.calendar import day_span, staffed

SHOWN: Final = timedelta(days=14)
HOUR_S: Final = 3600.0
IN_TIME, OPEN, LATE, NO_DUE, UNSURE = "in_time", "open", "late", "no_due", "unknown"


@dataclass(frozen=True, slots=True)
class JobPromise:
    """`chance` of being done by its due date; `early` to `late` holds 80 in 100; `days` are the
    moments that can be promised at `LEVELS`. None: beyond the calendar, or unknown, and `why` says
    so, written out by `to_reader`. `hours` are the planned ones of its sheets, all of a shared
    one."""

    pk: int
    number: str
    title: str
    customer: str
    due_at: datetime | None
    state: str
    chance: float | None
    early: datetime | None
    middle: datetime | None
    late: datetime | None
    days: tuple[datetime | None, ...]
    sheets: int
    hours: float
    tables: tuple[str, ...]
    why: str

    @property
    def percent(self) -> int | None:
        return None if self.chance is None else in_100(self.chance)

    @property
    def key(self) -> str:
        """Of the figure, without the moment."""
        return str(self.pk)


@dataclass(frozen=True, slots=True)
class DayLoad:
    """Hours of one shift date at one table. `note`: why it is not staffed as usual, to be
    read by `to_reader`."""

    key: str  # of the figure, without the moment
    day: date
    staffed_h: float
    square_h: float
    quick_h: float
    note: str

    @property
    def planned_h(self) -> float:
        return self.square_h + self.quick_h

    @property
    def free_h(self) -> float:
        return max(self.staffed_h - self.planned_h, 0.0)


@dataclass(frozen=True, slots=True)
class TableLoad:
    pk: int
    name: str
    days: tuple[DayLoad, ...]


@dataclass(frozen=True)
class Board:
    """The work as it stands, drawn once."""

    work: OpenWork
    found: Drawn

    @cached_property
    def unknown(self) -> frozenset[object]:
        """Jobs with a sheet that no time is known of."""
        return frozenset(job for sheet in self.work.left for job in sheet.jobs)

    @cached_property
    def jobs(self) -> list[JobPromise]:
        """The least likely first, then those without a due date, then those nobody can tell."""
        rows = [self.of_job(job) for job in self.work.jobs]
        order = {LATE: 0, OPEN: 0, IN_TIME: 0, NO_DUE: 1, UNSURE: 2}
        return sorted(rows, key=lambda row: (order[row.state], row.chance or 0.0, row.number))

    def of_job(self, job: JobAhead) -> JobPromise:
        sheets = [
            (one, sheet) for one in self.work.tables for sheet in one.sheets if job.pk in sheet.jobs
        ]
        why = self._why(job, bool(sheets))
        ends = None if why else self.found.jobs[job.pk]
        due = job.due_at.timestamp() if job.due_at else None
        likely = None if ends is None or due is None else chance(ends, due)
        early, middle, late, *days = [
            None if ends is None else moment(promised(ends, level))
            for level in (0.1, 0.5, 0.9, *LEVELS)
        ]
        return JobPromise(
            job.pk, job.number, job.title, job.customer, job.due_at, state_of(likely, ends is None),
            likely, early, middle, late, tuple(days),
            len(sheets), sum(sheet.routes[one.key].plan_s for one, sheet in sheets) / HOUR_S,
            tuple(sorted({self.work.table_rows[one.key].name for one, _sheet in sheets})), why,
        )  # fmt: skip

    def _why(self, job: JobAhead, any_sheet: bool) -> str:
        if job.held:
            return said("on hold")
        if job.pk in self.unknown:
            return said("a nest has no plan")
        if job.on_no_sheet:
            return said(
                "{owed} of {all} parts are on no nest’s sheets", owed=job.on_no_sheet, all=job.owed
            )
        return "" if any_sheet else said("no sheet is to come")


def state_of(said: float | None, unknown: bool) -> str:
    if unknown:
        return UNSURE
    if said is None:
        return NO_DUE
    return IN_TIME if said >= WILL else OPEN if said >= HARDLY else LATE


def in_100(share: float) -> int:
    """How often of 100; never 0 or 100, which no draws can promise."""
    return min(max(round(share * 100), 1), 99)


def board(now: datetime) -> Board:
    work = open_work(now)
    return Board(work, drawn(work.tables))


def loads(shown: Board, days: timedelta = SHOWN) -> list[TableLoad]:
    """By table, the next two weeks by shift date; sets of no known duty count as quick."""
    work = shown.work
    book = ShiftBook(work.now, work.now + days)
    today = work.now.astimezone(book.zone).date()
    dates = [today + timedelta(days=n) for n in range(days.days)]
    closed = dict(ClosedDay.objects.filter(day__in=dates).values_list("day", "why"))
    square = set(WearSet.objects.filter(duty__in=SQUARE).values_list("pk", flat=True))
    return [_load(shown, one, book, dates, closed, square) for one in work.tables]


def windows(book: ShiftBook, dates: Sequence[date]) -> list[tuple[float, float]]:
    """Wall time (epoch s) that belongs to each shift date: a night to the day it began."""
    edges = []
    for day in [*dates, dates[-1] + timedelta(days=1)]:
        before = [one.end for one in book.spans if one.date < day]
        edges.append(max(day_span(day, book.zone)[0], max(before, default=book.first)).timestamp())
    return list(pairwise(edges))


def _load(
    shown: Board,
    one: TableAhead,
    book: ShiftBook,
    dates: Sequence[date],
    closed: dict[date, str],
    square: set[int],
) -> TableLoad:
    work, table = shown.work, shown.work.table_rows[one.key]
    clock = one.clock.from_now(work.now.timestamp())
    spans = windows(book, dates)
    share = load_s(shown.found.tables[one.key], one.clock, work.now.timestamp(), spans) / HOUR_S
    is_square = np.array([sheet.wear_set in square for sheet in one.sheets], dtype=bool)
    rows = []
    for place, day in enumerate(dates):
        first, last = spans[place]
        rows.append(
            DayLoad(
                f"{table.code}:{day}",
                day,
                (clock.staffed(last) - clock.staffed(first)) / HOUR_S,
                float(share[is_square, place].sum()),
                float(share[~is_square, place].sum()),
                _note(book, day, table.code, closed.get(day, "")),
            )
        )
    return TableLoad(table.pk, table.name, tuple(rows))


def _note(book: ShiftBook, day: date, table: str, closed: str) -> str:
    own = [one for one in book.spans if one.date == day and one.at_table(table)]
    if day in book.unset:
        start, end = day_span(day, book.zone)
        lost = intersect([(to_us(start), to_us(end))], book.down_at(table))
        return said("table down") if lost else ""
    if not own:
        return closed or said("no shift")
    if staffed(own, book.downs, table) != staffed(own, [], table):
        return said("table down")
    return closed


def moment(at: float) -> datetime | None:
    """None: beyond the calendar."""
    return None if math.isinf(at) else from_us(round(at * 1e6))
