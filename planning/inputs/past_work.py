"""Open work as it stood at moments of the past: what the promises would have been drawn from.

Lists, due dates, sheets wanted and the calendar are those of the record of changes. A past that was
loaded whole has no lists: its nests wait at the table chosen for them in the order they were
entered. Not known any more are plans and typed times as they were (today's are taken), and when
what was entered late came in (it counts from when it was)."""

from __future__ import annotations

from bisect import bisect_right
from collections import Counter, defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from functools import cached_property
from typing import Any, Final

from planning.calc.ahead.book import now_at, records_at
from planning.calc.ahead.clock import StaffedClock, week_of
from planning.calc.ahead.draws import Now, Worlds
from planning.calc.ahead.fit import Fit, fit
from planning.calc.ahead.promise import Route, Sheet, TableAhead, placed
from planning.inputs.open_work import (
    AHEAD,
    DRAWS,
    SEEDS_APART,
    Sheets,
    handling_s,
    parts_of,
    routes_of,
)
from planning.inputs.shifts import ShiftBook
from planning.inputs.stored_time import typical_of
from planning.inputs.table_time import clock_of, table_books
from shopfloor.audit.as_of import Then
from shopfloor.models import (
    Absence,
    ClosedDay,
    Contour,
    Job,
    JobLine,
    JobState,
    Nest,
    NestRevision,
    PartResult,
    QueueItem,
    Run,
    RunState,
    Shift,
    Table,
    TableDown,
)
from shopfloor.site.calendar import Down
from shopfloor.site.queries import patterns_of

LEARNT: Final = timedelta(days=120)  # that a moment's fit learns from
KNOWN: Final = timedelta(days=14)  # before its date a job of a loaded past is taken to be known
SWEEPS, KEPT = 260, 130  # fewer than of a fit that is kept: a replay makes many


@dataclass(frozen=True)
class Stood:
    """What stood at a moment. `dues` are of the jobs that a promise could be drawn of."""

    at: datetime
    tables: tuple[TableAhead, ...]
    dues: Mapping[int, datetime]


class PastWork:
    """The records of a stretch of the past, from `start` to `now`, read once."""

    def __init__(self, start: datetime, now: datetime) -> None:
        self.start, self.now = start, now
        self.tables = {table.pk: table for table in Table.objects.filter(active=True)}
        since = start - LEARNT
        self.books = table_books(self.tables.values(), since, now, now + timedelta(days=3))
        kinds = (Job, Nest, QueueItem, Shift, ClosedDay, TableDown, Absence)
        self.then = Then(kinds, start)
        self._fits: dict[tuple[int, datetime], Fit] = {}

    @cached_property
    def _jobs(self) -> Any:
        return Job.objects.exclude(state=JobState.CLOSED, closed_at__lt=self.start)

    @cached_property
    def _lines(self) -> dict[int, tuple[int, int]]:
        rows = JobLine.objects.filter(job__in=self._jobs.values("pk"))
        return {pk: (job, many) for pk, job, many in rows.values_list("pk", "job", "quantity")}

    @cached_property
    def _nests(self) -> Any:
        contours = Contour.objects.filter(line__in=list(self._lines)).order_by()
        return Nest.objects.filter(pk__in=set(contours.values_list("revision__nest", flat=True)))

    @cached_property
    def _burnt(self) -> dict[int, list[datetime]]:
        runs = Run.objects.filter(revision__nest__in=self._nests.values("pk"))
        found: dict[int, list[datetime]] = defaultdict(list)
        rows = runs.exclude(state=RunState.VOIDED).order_by("opened_at")
        for nest, opened in rows.values_list("revision__nest", "opened_at"):
            found[nest].append(opened)
        return found

    @cached_property
    def _good(self) -> list[tuple[datetime, int, int]]:
        rows = PartResult.objects.filter(line__in=list(self._lines), outcome="good")
        return list(rows.order_by("at").values_list("at", "line", "quantity"))

    @cached_property
    def _revisions(self) -> list[tuple[int, int, datetime]]:
        rows = NestRevision.objects.filter(nest__in=self._nests.values("pk"))
        return list(rows.order_by("revision").values_list("nest", "pk", "made_at"))

    @cached_property
    def _parts(self) -> dict[int, list[tuple[int, int, int]]]:
        return parts_of([pk for _nest, pk, _made in self._revisions])

    @cached_property
    def _first_run(self) -> dict[int, datetime]:
        """Of each job, when the first of its nests was begun."""
        found: dict[int, datetime] = {}
        for nest, pk, _made in self._revisions:
            for _line, job, _many in self._parts.get(pk, ()):
                if nest in self._burnt:
                    first = self._burnt[nest][0]
                    found[job] = min(found.get(job, first), first)
        return found

    def _loaded(self, job: Job) -> bool:
        """Written down after it was begun: when it came to be known is not on record."""
        first = self._first_run.get(job.pk)
        return job.source == "example" or (first is not None and first < job.made_at)

    def fit(self, table: int, at: datetime) -> Fit:
        """As it would have been fitted at that moment."""
        if (table, at) not in self._fits:
            records = records_at(
                [self.books[table]], at.timestamp(), typical_of(self.tables[table])
            )
            self._fits[table, at] = fit(records, int(at.timestamp()), sweeps=SWEEPS, kept=KEPT)
        return self._fits[table, at]

    def forget(self) -> None:
        """Lets go of the fits of a day that is done."""
        self._fits.clear()

    def clocks(self, at: datetime) -> dict[int, StaffedClock]:
        """The calendar as it stood."""
        days = self.then.rows(ClosedDay.objects.all(), at)
        patterns = patterns_of(
            self.then.rows(Shift.objects.all(), at),
            [one.day for one in days],
            self.then.rows(Absence.objects.all(), at),
        )
        rows = self.then.rows(TableDown.objects.filter(ended_at__gt=at - timedelta(days=2)), at)
        downs = [
            Down(self.tables[one.table_id].code, one.started_at, one.ended_at, one.planned)
            for one in rows
            if one.table_id in self.tables and (one.planned or one.started_at <= at)
        ]  # a breakdown to come was not known, whatever the record of a loaded past lacks
        book = ShiftBook(at - timedelta(days=1), at + AHEAD, patterns=patterns, downs=downs)
        return {pk: clock_of(book, table.code) for pk, table in self.tables.items()}

    def stood(self, at: datetime, scales: Mapping[int, float]) -> Stood:
        """`scales`: by how much the ranges of each table were to be widened then."""
        jobs = [
            job
            for job in self.then.rows(self._jobs, at)
            if (job.closed_at is None or job.closed_at > at) and self._known(job, at)
        ]
        loaded = {job.pk for job in jobs if self._loaded(job)}
        ids = {job.pk for job in jobs}
        revisions = {
            nest: pk for nest, pk, made in self._revisions
            if any(job in ids and (made <= at or job in loaded)
                   for _line, job, _many in self._parts.get(pk, ()))
        }  # fmt: skip
        nests = {
            nest.pk: nest
            for nest in self.then.rows(self._nests.filter(pk__in=list(revisions)), at)
            if nest.pk in revisions and (nest.withdrawn_at is None or nest.withdrawn_at > at)
        }
        dues = {job.pk: job.due_at for job in jobs if job.due_at}
        routes = routes_of(nests, {pk: revisions[pk] for pk in nests}, self.tables)
        made = Sheets(nests, revisions, routes, self._parts, dues)
        lists, left = self._listed(made, at)
        unlisted: list[Sheet] = []
        for sheet in self._unlisted(made, Counter(nest for nest, _t in left), at):
            entered = nests[int(str(sheet.nest))].table_id if sheet.jobs & loaded else None
            (lists[entered] if entered in sheet.routes else unlisted).append(sheet)
        clocks = self.clocks(at)
        ahead = [
            self._ahead(table, clocks[table], tuple(lists[table]), made, scales.get(table, 1.0), at)
            for table in self.tables
        ]
        handling = {pk: handling_s(table) for pk, table in self.tables.items()}
        tables, nowhere = placed(ahead, unlisted, handling)
        unknown = {job for sheet in nowhere for job in sheet.jobs}
        unknown |= {
            job for nest, table in left if table is None for job in made.sheet((), nest).jobs
        }
        lacking = self._lacking(made, tables, ids, at)
        there = {job for one in tables for sheet in one.sheets for job in sheet.jobs}
        held = {job.pk for job in jobs if job.state == JobState.HELD}
        told = {
            job: due for job, due in dues.items()
            if due > at and job in there and job not in unknown | lacking | held
        }  # fmt: skip
        return Stood(at, tuple(tables), told)

    def _known(self, job: Job, at: datetime) -> bool:
        if job.made_at <= at:
            return True
        first = self._first_run.get(job.pk)
        due = job.due_at - KNOWN if job.due_at else None
        return self._loaded(job) and any(one is not None and one <= at for one in (first, due))

    def _listed(
        self, made: Sheets, at: datetime
    ) -> tuple[dict[Any, list[Sheet]], list[tuple[int, int | None]]]:
        """The lists, and of each item its nest and table: None where it has no plan there."""
        rows = QueueItem.objects.filter(nest__in=list(made.nests), table__in=list(self.tables))
        items = [one for one in self.then.rows(rows, at) if one.state == "waiting"]
        lists: dict[Any, list[Sheet]] = defaultdict(list)
        found: list[tuple[int, int | None]] = []
        for item in sorted(items, key=lambda one: (one.position, one.pk or 0)):
            if item.nest_id not in made.nests:
                continue
            sheet = made.sheet(("item", item.pk), item.nest_id, due=item.due_at)
            planned = item.table_id in sheet.routes and item.table_id in self.tables
            if planned:
                lists[item.table_id].append(sheet)
            found.append((item.nest_id, item.table_id if planned else None))
        return lists, found

    def _unlisted(self, made: Sheets, listed: Counter[int], at: datetime) -> Iterable[Sheet]:
        for pk, nest in sorted(made.nests.items()):
            burnt = bisect_right(self._burnt.get(pk, []), at)
            for n in range(nest.sheets_wanted - burnt - listed[pk]):
                yield made.sheet(("nest", pk, n), pk)

    def _lacking(
        self, made: Sheets, tables: Iterable[TableAhead], jobs: set[int], at: datetime
    ) -> set[int]:
        """Jobs with parts that no sheet to come makes, and those that owe nothing."""
        good: Counter[int] = Counter()
        known = bisect_right(self._good, at, key=lambda one: one[0])
        for _when, line, many in self._good[:known]:
            good[line] += many
        to_come, found, owing = made.to_come(tables), set(), set()
        for line, (job, quantity) in self._lines.items():
            owed = quantity - good[line]
            if job in jobs and owed > 0:
                owing.add(job)
                if owed > to_come[line]:
                    found.add(job)
        return found | (jobs - owing)

    def _ahead(
        self,
        table: int,
        clock: StaffedClock,
        waits: tuple[Sheet, ...],
        made: Sheets,
        scale: float,
        at: datetime,
    ) -> TableAhead:
        book, moment = self.books[table], at.timestamp()
        log, under = now_at(book, moment)
        begun = [run for run in book.runs if run.opened <= moment]
        on = begun[-1] if begun and log is not None else None
        clock = clock.worked_now(moment, None if on is None else on.cut_plan_s or 0.0)
        now = Now(moment, book.day(moment), week_of(moment), under)
        seed = int(moment) + SEEDS_APART * table
        worlds = Worlds.of(self.fit(table, at), now, seed, DRAWS)
        under_way = None
        if log is not None:
            revision = self._revision_of(log.run)
            if log.nest in made.nests and revision in self._parts:
                under_way = made.sheet(
                    ("run", str(log.run)), int(str(log.nest)), revision=revision,
                    routes={table: Route(log.cut_plan_s or 0.0, log.cell, 0.0)},
                )  # fmt: skip
        set_now = begun[-1].wear_set if begun else None
        return TableAhead(table, clock, worlds, waits, under_way, set_now, scale=scale)

    @cached_property
    def _of_runs(self) -> dict[object, int]:
        runs = [str(run.run) for book in self.books.values() for run in book.runs]
        return dict(Run.objects.filter(pk__in=runs).values_list("pk", "revision"))

    def _revision_of(self, run: object) -> int:
        return self._of_runs.get(run, 0)
