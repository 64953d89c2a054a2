"""What would help a job that may be late: each way drawn again, with what it does to the others."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from typing import Any, Final

from django.utils.translation import gettext as _

from planning.calc.ahead.promise import (
    LEVELS,
    Route,
    Sheet,
    TableAhead,
    chance,
    drawn,
    first,
    moved,
    placed,
    promised,
)
from planning.calc.dates import day_time
from planning.inputs.open_work import handling_s, revision_of
from planning.inputs.shifts import ShiftBook
from planning.inputs.stored_time import cell_of
from planning.reports.promise import HOUR_S, Board, in_100, moment
from shopfloor.chart.duties import SQUARE, set_words
from shopfloor.models import JobLine, NestPlan
from shopfloor.site.calendar import wall_to_utc

CHANGED: Final = 0.05  # of another job's chance, to be named
NEW: Final = "new"
SEEN_AHEAD: Final = timedelta(days=21)


@dataclass(frozen=True, slots=True)
class Other:
    number: str
    before: float
    after: float

    @property
    def before_percent(self) -> int:
        return in_100(self.before)

    @property
    def after_percent(self) -> int:
        return in_100(self.after)


@dataclass(frozen=True, slots=True)
class Help:
    """One way, the job's chance with it, and other jobs whose chance it changes."""

    what: str
    chance: float
    others: tuple[Other, ...]

    @property
    def percent(self) -> int:
        return in_100(self.chance)


def helps(board: Board, job: int) -> list[Help]:
    """The best first; those that change nothing are left out."""
    due = {one.pk: one.due_at for one in board.work.jobs}
    at = due.get(job)
    if at is None or job not in board.found.jobs:
        return []
    before = board.found.chance(job, at.timestamp())
    found = [_drawn(board, job, what, tables, due) for what, tables in _ways(board, job)]
    better = [one for one in found if one.chance > before]
    return sorted(better, key=lambda one: -one.chance)


def new_job(board: Board, hours: float) -> tuple[datetime | None, ...]:
    """The moments a new job of so many planned hours can be promised at `LEVELS`: sheets of an
    hour, behind all open work, each on the table that is free first."""
    whole = math.ceil(hours)
    tables = board.work.fresh(board.work.tables)
    routes = {one.key: Route(hours / whole * HOUR_S, NEW, 0.0) for one in tables}
    sheets = [Sheet((NEW, n), NEW, None, frozenset({NEW}), routes) for n in range(whole)]
    handling = {pk: handling_s(table) for pk, table in board.work.table_rows.items()}
    ends = drawn(placed(tables, sheets, handling)[0]).jobs.get(NEW)
    if ends is None:
        return tuple(None for _level in LEVELS)
    return tuple(moment(promised(ends, level)) for level in LEVELS)


def _drawn(
    board: Board,
    job: int,
    what: str,
    tables: Sequence[TableAhead],
    due: dict[int, datetime | None],
) -> Help:
    after = drawn(board.work.fresh(tables))
    others = []
    for one in board.work.jobs:
        at = due[one.pk]
        if one.pk == job or at is None or one.pk not in after.jobs:
            continue
        was = chance(board.found.jobs[one.pk], at.timestamp())
        now = chance(after.jobs[one.pk], at.timestamp())
        if abs(now - was) >= CHANGED:
            others.append(Other(one.number, was, now))
    at = due[job]
    return Help(what, after.chance(job, at.timestamp()) if at else 0.0, tuple(others))


def _ways(board: Board, job: int) -> Iterator[tuple[str, Sequence[TableAhead]]]:
    tables = board.work.tables
    names = {pk: table.name for pk, table in board.work.table_rows.items()}
    if (front := first(tables, job)) is not None:
        yield _("First on its list"), front
    for one in tables:
        if (gone := moved(tables, job, one.key)) is not None:
            yield _("First on {table}").format(table=names[one.key]), gone
    if (others := _another_set(board, job)) is not None:
        yield others
    yield from _day_off(board, job)


def _another_set(board: Board, job: int) -> tuple[str, Sequence[TableAhead]] | None:
    """Its waiting sheets each with the quickest set there is a plan for; where a line must be cut
    fine, only with sets that cut square."""
    waits = [(one, sheet) for one in board.work.tables for sheet in one.waits if job in sheet.jobs]
    jobs: set[Any] = {each for _one, sheet in waits for each in sheet.jobs}
    lines = JobLine.objects.filter(must_be_fine=True, job__in=jobs)
    fine = set(lines.values_list("job", flat=True))
    plans = NestPlan.objects.filter(
        revision__in={revision_of(sheet) for _one, sheet in waits}, total_s__isnull=False
    ).values_list(
        "revision", "table", "wear_set", "wear_set__duty", "wear_set__current_a", "total_s"
    )
    best: dict[tuple[int, Any], tuple[float, int, str]] = {}
    for revision, table, wear_set, duty, current_a, total_s in plans:
        for must in (True, False):
            if (duty in SQUARE or not must) and total_s is not None:
                key = (revision, (table, must))
                this = (total_s, wear_set, set_words(duty, current_a))
                best[key] = min(best.get(key, this), this)
    said: set[str] = set()
    changed: dict[Any, Sheet] = {}
    for one, sheet in waits:
        found = best.get((revision_of(sheet), (one.key, bool(fine & set(sheet.jobs)))))
        if found and found[1] != sheet.wear_set and found[0] < sheet.routes[one.key].plan_s:
            said.add(found[2])
            changed[sheet.key] = _with_set(board, sheet, one.key, found)
    if not changed:
        return None
    tables = [
        replace(one, waits=tuple(changed.get(sheet.key, sheet) for sheet in one.waits))
        for one in board.work.tables
    ]
    return _("With set {names}").format(names=", ".join(sorted(said))), tables


def _with_set(board: Board, sheet: Sheet, table: Any, found: tuple[float, int, str]) -> Sheet:
    nest = board.work.nests[int(str(sheet.nest))]
    cell = cell_of(found[1], nest.material_id, nest.thickness_mm)
    return replace(
        sheet, wear_set=found[1], routes={**sheet.routes, table: Route(found[0], cell, 0.0)}
    )


def _day_off(board: Board, job: int) -> Iterator[tuple[str, Sequence[TableAhead]]]:
    """A shift on the next day that has none, at the tables the job waits on; as long as the first
    shift that is held there."""
    book = ShiftBook(board.work.now, board.work.now + SEEN_AHEAD)
    today = board.work.now.astimezone(book.zone).date()
    on = {one.key for one in board.work.tables for s in one.sheets if job in s.jobs}
    codes = {pk: table.code for pk, table in board.work.table_rows.items()}
    held = [one for one in book.spans if any(one.at_table(codes[pk]) for pk in on)]
    taken = {one.date for one in held}
    days = [today + timedelta(days=n) for n in range(1, SEEN_AHEAD.days)]
    day = next((one for one in days if one not in taken | book.unset), None)
    if day is None or not held or not on:
        return
    start = wall_to_utc(day, held[0].start.astimezone(book.zone).time(), book.zone)
    end = start + (held[0].end - held[0].start)
    tables = [
        replace(one, clock=one.clock.with_shift(start.timestamp(), end.timestamp()))
        if one.key in on
        else one
        for one in board.work.tables
    ]
    yield _("A shift on {day}").format(day=day_time(start.astimezone(book.zone))), tables
