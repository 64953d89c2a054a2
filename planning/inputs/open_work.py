"""All open work as the promises draw it: what every table is at, what waits on its list, what is on
no list yet, and the jobs that wait for it."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from typing import Any, Final

from django.db.models import Sum

from planning.calc.ahead.book import TableBook, now_at
from planning.calc.ahead.draws import Worlds
from planning.calc.ahead.promise import Route, Sheet, TableAhead, placed
from planning.calc.cost import PLAN_KINDS
from planning.inputs.stored_time import StoredTime, cell_of, stored_books, typical_of
from planning.inputs.table_time import table_books
from shopfloor.jobs.late import STATES
from shopfloor.models import (
    Contour,
    Job,
    JobLine,
    JobState,
    Nest,
    NestPlan,
    NestRevision,
    PartResult,
    Run,
    RunState,
    Table,
)
from shopfloor.nests.parts_made import parts_made
from shopfloor.nests.plate_needed import sheets_ahead
from shopfloor.nests.waiting import waiting_items

AHEAD: Final = timedelta(days=90)  # how far calendars are laid out
LONGEST_RUN: Final = timedelta(days=14)
NEVER: Final = float("inf")
DRAWS: Final = 1000  # a chance of one half is then known to 3 in 100 (two standard errors)
SEEDS_APART: Final = 1_000_003


@dataclass(frozen=True, slots=True)
class JobAhead:
    """`owed` parts are still to be made, `on_no_sheet` of them by no sheet that is to come."""

    pk: int
    number: str
    title: str
    customer: str
    due_at: datetime | None
    held: bool
    owed: int
    on_no_sheet: int


@dataclass(frozen=True)
class OpenWork:
    """`left`: sheets without a plan where they wait, or on any table: the ends of their jobs are
    unknown. Rows of tables, nests, fits and books by id."""

    now: datetime
    tables: tuple[TableAhead, ...]
    table_rows: Mapping[int, Table]
    jobs: tuple[JobAhead, ...]
    left: tuple[Sheet, ...]
    stored: Mapping[int, StoredTime]
    books: Mapping[int, TableBook]
    nests: Mapping[int, Nest]

    def fresh(self, tables: Sequence[TableAhead]) -> list[TableAhead]:
        """The same lists with worlds that nothing was drawn from yet, always the same ones."""
        return [
            replace(one, worlds=worlds_of(self.stored[one.key], self.books[one.key], self.now))
            for one in tables
        ]


def worlds_of(stored: StoredTime, book: TableBook, now: datetime) -> Worlds:
    """A table's possible shops at a moment. Seeds of two tables are apart, or what one draws the
    other would."""
    at = now.timestamp()
    own = replace(stored, seed=stored.seed + SEEDS_APART * stored.table_id)
    return own.worlds(at, book.clock, now_at(book, at)[1], DRAWS)


def open_work(now: datetime) -> OpenWork:
    """Some fifteen queries, however much there is."""
    tables = {table.pk: table for table in Table.objects.filter(active=True)}
    running = {
        run.pk: run
        for run in Run.objects.filter(state=RunState.OPEN, opened_at__gt=now - LONGEST_RUN)
        .select_related("revision__nest")
        .defer("revision__program")
    }
    since = min([now - timedelta(days=1), *(run.opened_at for run in running.values())])
    laid_out = table_books(tables.values(), since, now, now + AHEAD, last_only=True)
    books = {pk: _as_worked(book, running, now) for pk, book in laid_out.items()}
    items = list(waiting_items().select_related("nest").order_by("table", "position", "pk"))
    wanted = sheets_ahead()
    nests = {item.nest_id: item.nest for item in items} | {nest.pk: nest for nest, _n in wanted}
    nests |= {run.revision.nest_id: run.revision.nest for run in running.values()}
    revisions = _newest(nests)
    made = Sheets(nests, revisions, routes_of(nests, revisions, tables), parts_of(
        {*revisions.values(), *(run.revision_id for run in running.values())}
    ), due_of_jobs())  # fmt: skip
    lists: dict[int, list[Sheet]] = defaultdict(list)
    unplanned: list[Sheet] = []
    for item in items:
        sheet = made.sheet(("item", item.pk), item.nest_id, due=item.due_at)
        (lists[item.table_id] if item.table_id in sheet.routes else unplanned).append(sheet)
    unlisted = [
        made.sheet(("nest", nest.pk, n), nest.pk) for nest, many in wanted for n in range(many)
    ]
    stored = stored_books(tables.values())
    ahead = [
        _table_ahead(table, books[pk], stored[pk], lists[pk], made, running, now)
        for pk, table in tables.items()
    ]
    handling = {pk: handling_s(table) for pk, table in tables.items()}
    found, left = placed(ahead, unlisted, handling)
    jobs = _jobs(made.to_come(found))
    return OpenWork(
        now, tuple(found), tables, jobs, (*unplanned, *left), stored, books, nests
    )  # fmt: skip


@dataclass(frozen=True)
class Sheets:
    """Makes sheets of nests. `parts`: by revision, of each line its job and how many parts."""

    nests: Mapping[int, Nest]
    revisions: Mapping[int, int]
    routes: Mapping[int, Mapping[int, Route]]
    parts: Mapping[int, Sequence[tuple[int, int, int]]]
    due: Mapping[int, datetime]

    def sheet(
        self,
        key: tuple[object, ...],
        nest: int,
        *,
        due: datetime | None = None,
        revision: int | None = None,
        routes: Mapping[int, Route] | None = None,
    ) -> Sheet:
        revision = revision or self.revisions.get(nest, 0)
        jobs = frozenset(job for _line, job, _n in self.parts.get(revision, ()))
        dues = [self.due[job].timestamp() for job in jobs if job in self.due]
        own = self.nests[nest]
        return Sheet(
            (*key, revision), nest, own.wear_set_id, jobs,
            self.routes.get(nest, {}) if routes is None else routes,
            due.timestamp() if due else min(dues, default=NEVER),
        )  # fmt: skip

    def to_come(self, tables: Iterable[TableAhead]) -> Counter[int]:
        """Parts by line on the sheets to come."""
        found: Counter[int] = Counter()
        for table in tables:
            for sheet in table.sheets:
                for line, _job, many in self.parts.get(revision_of(sheet), ()):
                    found[line] += many
        return found


def revision_of(sheet: Sheet) -> int:
    """A sheet's key ends with the revision of its nest."""
    key = sheet.key
    return int(key[-1]) if isinstance(key, tuple) else 0


def due_of_jobs() -> dict[int, datetime]:
    rows = Job.objects.filter(state__in=STATES).exclude(due_at=None)
    return {pk: due for pk, due in rows.values_list("pk", "due_at") if due}


def handling_s(table: Table) -> float:
    """What a sheet takes beside its plan, as the table's page says; only to choose among tables."""
    typical = typical_of(table)
    return typical.load_s + typical.unload_s + typical.gap_s


def _table_ahead(
    table: Table,
    book: TableBook,
    stored: StoredTime,
    waits: Sequence[Sheet],
    made: Sheets,
    running: Mapping[Any, Run],
    now: datetime,
) -> TableAhead:
    log, _under = now_at(book, now.timestamp())
    under_way = None
    if log is not None and log.run in running:
        run = running[log.run]
        route = Route(log.cut_plan_s or 0.0, log.cell, 0.0)
        under_way = made.sheet(
            ("run", str(run.pk)), run.revision.nest_id, revision=run.revision_id,
            routes={table.pk: route},
        )  # fmt: skip
    return TableAhead(
        table.pk, book.clock, worlds_of(stored, book, now), tuple(waits), under_way,
        book.runs[-1].wear_set if book.runs else None, scale=stored.scale,
    )  # fmt: skip


def _as_worked(book: TableBook, running: Mapping[Any, Run], now: datetime) -> TableBook:
    """With the overtime that a run on the table is cut in."""
    on = book.runs[-1] if book.runs and book.runs[-1].run in running else None
    on_s = None if on is None else on.cut_plan_s or 0.0
    return replace(book, clock=book.clock.worked_now(now.timestamp(), on_s))


def _newest(nests: Iterable[int]) -> dict[int, int]:
    rows = NestRevision.objects.filter(nest__in=list(nests)).order_by("revision")
    return dict(rows.values_list("nest", "pk"))


def routes_of(
    nests: Mapping[int, Nest], revisions: Mapping[int, int], tables: Iterable[int]
) -> dict[int, dict[int, Route]]:
    """By nest and table, with the nest's own set; the table somebody chose for it costs nothing
    here, so that it is the cheapest."""
    rows = NestPlan.objects.filter(
        revision__in=list(revisions.values()), table__in=list(tables), total_s__isnull=False
    ).values_list("revision__nest", "table", "wear_set", "total_s", "costs_minor")
    plans: dict[int, dict[int, tuple[float, Mapping[str, int]]]] = defaultdict(dict)
    for nest, table, wear_set, total_s, costs in rows:
        if wear_set == nests[nest].wear_set_id and total_s is not None:
            plans[nest][table] = total_s, costs
    return {nest: _routes_by_table(nests[nest], each) for nest, each in plans.items()}


def _routes_by_table(
    nest: Nest, plans: Mapping[int, tuple[float, Mapping[str, int]]]
) -> dict[int, Route]:
    """Money tells which table is cheapest where every kind of it is known at each; else time."""
    known = all(kind in costs for _total_s, costs in plans.values() for kind in PLAN_KINDS)
    cell = cell_of(nest.wear_set_id, nest.material_id, nest.thickness_mm)
    costs_of = {
        table: float(sum(costs[kind] for kind in PLAN_KINDS)) if known else total_s
        for table, (total_s, costs) in plans.items()
    }
    return {
        table: Route(total_s, cell, 0.0 if table == nest.table_id else costs_of[table])
        for table, (total_s, _costs) in plans.items()
    }


def parts_of(revisions: Iterable[int]) -> dict[int, list[tuple[int, int, int]]]:
    rows = Contour.objects.filter(revision__in=list(revisions)).exclude(line=None)
    found: dict[int, list[tuple[int, int, int]]] = defaultdict(list)
    for revision, line, job, many in parts_made(rows, "revision", "line", "line__job"):
        found[revision].append((line, job, many))
    return found


def _jobs(to_come: Mapping[int, int]) -> tuple[JobAhead, ...]:
    """Jobs that owe parts."""
    ids = list(Job.objects.filter(state__in=STATES).values_list("pk", flat=True))
    lines = JobLine.objects.filter(job__in=ids).values_list("pk", "job", "quantity")
    good = dict(
        PartResult.objects.filter(line__job__in=ids, outcome="good")
        .order_by()
        .values_list("line")
        .annotate(all=Sum("quantity"))
    )
    owed: Counter[int] = Counter()
    lacking: Counter[int] = Counter()
    for line, job, quantity in lines:
        owing = max(quantity - good.get(line, 0), 0)
        owed[job] += owing
        lacking[job] += max(owing - to_come.get(line, 0), 0)
    rows = Job.objects.filter(pk__in=[job for job, many in owed.items() if many])
    return tuple(
        JobAhead(
            job.pk, job.number, job.title, job.customer.name, job.due_at,
            job.state == JobState.HELD, owed[job.pk], lacking[job.pk],
        )
        for job in rows.select_related("customer").order_by("due_at", "number")
    )  # fmt: skip
