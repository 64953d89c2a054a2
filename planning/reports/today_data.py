"""Everything today's page is drawn from, for all tables at once."""

from __future__ import annotations

import json
import uuid
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from functools import lru_cache
from typing import NamedTuple, TypeVar

from django.db.models import Count, Q, QuerySet, TextField
from django.db.models.functions import Cast
from django.utils.translation import gettext as _

from planning.inputs.chunks import chunked
from planning.inputs.plans import plan_times
from planning.inputs.stored_time import StoredTime, cell_of, kept_books
from planning.inputs.types import SegmentIn
from planning.reports.queue import Queued
from shopfloor.models import (
    ArcAssignment,
    Contour,
    Evidence,
    Run,
    RunState,
    Segment,
    Stoppage,
    Table,
)
from shopfloor.runs.arcs import from_us, to_us
from shopfloor.runs.matching import ArcInput
from shopfloor.runs.program_names import programs_beside
from shopfloor.runs.silences import SourceSilence, source_silences
from shopfloor.wear.fitted import sets_fitted
from telemetry.counted import counted
from telemetry.models import Arc

DAY_US = 86_400_000_000
GOING = (RunState.OPEN, RunState.STOPPED)
LONGEST = timedelta(days=31)  # our assumption: no stretch or stoppage that has ended was longer
Spanned = TypeVar("Spanned", Segment, Stoppage)


class ArcNow(NamedTuple):
    """A tuple, for a page makes thousands."""

    key: str
    torch: str
    on_us: int
    off_us: int
    open: bool
    segment_id: int | None
    said: bool  # it is on record what it belongs to, or that it belongs to nothing
    contour: int | None
    program: str | None = None  # as its own source said, or another one beside it
    amps: float | None = None


@dataclass(frozen=True, slots=True)
class StopNow:
    pk: int
    run_id: uuid.UUID | None
    from_us: int
    to_us: int
    open: bool
    label: str
    planned: bool
    reasoned: bool
    vouched: bool = True  # by a person; else only a pause in what was heard


@dataclass(frozen=True)
class RunToday:
    run_id: uuid.UUID
    nest: str
    state: str
    opened_at: datetime
    closed_at: datetime | None
    wear_set: str
    duty: str
    operator: str
    segments: tuple[SegmentIn, ...]
    steps_us: tuple[int, ...]  # the plan's travel, touch-off and arc of each contour
    load_us: int
    arcs_s: tuple[float, ...]
    contours: int
    jobs: tuple[str, ...]  # of a run that is over only where they are asked for
    nest_id: int
    cell: tuple[object, ...]
    cut_s: float | None  # the plan from the first arc to the last
    queue_item_id: int | None

    @property
    def planned_us(self) -> int | None:
        return sum(self.steps_us) + self.load_us if self.steps_us else None


@dataclass
class TableData:
    table: Table
    hearing: SourceSilence
    arcs: list[ArcNow] = field(default_factory=list)
    stops: list[StopNow] = field(default_factory=list)
    runs: list[RunToday] = field(default_factory=list)
    queue: list[Queued] = field(default_factory=list)
    time: StoredTime | None = None  # how long its work takes, where that is fitted yet
    fitted: tuple[str, str] | None = None  # duty and words of what was in the torch then
    program: str = ""  # what the table's own lines say the latest arc burnt


def today_data(
    tables: Sequence[Table],
    start_us: int,
    end_us: int,
    now: datetime,
    waiting: Sequence[Queued],
    *,
    jobs: bool = False,
) -> list[TableData]:
    """Fifteen queries or so, however many tables and arcs. `waiting` with its arcs; items of other
    tables are passed over. `jobs`: those of runs that are over too."""
    now_us = to_us(now)
    heard = source_silences(tables, start_us, end_us, now)
    by_code = {table.code: TableData(table, heard[table.code]) for table in tables}
    by_id = {data.table.pk: data for data in by_code.values()}
    stretches = _stretches(by_id, start_us, end_us)
    _arcs(by_code, stretches, start_us, min(end_us, now_us), now_us)
    _stops(by_id, start_us, end_us, now_us)
    _runs(by_id, stretches, now_us, jobs)
    for item in waiting:
        if item.table_id in by_id:
            by_id[item.table_id].queue.append(item)
    for table_id, stored in kept_books(by_id).items():
        by_id[table_id].time = stored
    if not all(data.runs for data in by_id.values()):  # else their runs tell the set
        _fitted(by_id, now)
    _programs(by_code)
    return list(by_code.values())


def _programs(by_code: dict[str, TableData]) -> None:
    """Of each table's last arc and of those nobody has said anything about. One query, where only
    another source of some table can say."""
    silent = [
        ArcInput(arc.key, code, arc.torch, arc.on_us, arc.off_us)
        for code, data in by_code.items()
        for arc in data.arcs
        if not arc.program and (arc is data.arcs[-1] or not arc.said)
    ]
    beside = programs_beside(silent)
    for data in by_code.values():
        if beside:
            data.arcs = [
                arc._replace(program=beside[arc.key]) if arc.key in beside else arc
                for arc in data.arcs
            ]
        data.program = (data.arcs[-1].program or "") if data.arcs else ""


def _arcs(
    by_code: dict[str, TableData],
    stretches: Sequence[Segment],
    start_us: int,
    until_us: int,
    now_us: int,
) -> None:
    of_tables = counted(
        Arc.objects.filter(
            Q(off_us=None) | Q(off_us__gt=start_us),
            table__in=by_code,
            on_us__gte=start_us - DAY_US,
            on_us__lt=until_us,
        )
    )
    rows = list(
        of_tables.order_by("on_us").values_list(
            "table", "key", "torch", "on_us", "off_us", "program", "amps"
        )
    )
    said = _said([row[1] for row in rows], stretches)
    add = {code: data.arcs.append for code, data in by_code.items()}
    for code, key, torch, on_us, off_us, program, amps in rows:
        known = said.get(key)
        segment, contour = known or (None, None)
        end_us = max(on_us, now_us) if off_us is None else off_us
        still = off_us is None
        told = known is not None
        add[code](ArcNow(key, torch, on_us, end_us, still, segment, told, contour, program, amps))


Said = dict[str, tuple[int | None, int | None]]  # segment and contour by the arc's key


def _said(keys: Sequence[str], stretches: Sequence[Segment]) -> Said:
    """What is on record for these arcs. Most belong to the segments of that time, which an index
    knows; joined to their arcs PostgreSQL would read all assignments there ever were. The others
    are asked for by their keys."""
    own = ArcAssignment.objects.filter(segment__in=[row.pk for row in stretches])
    columns = "arc_key", "segment_id", "contour_number"
    said: Said = {key: (seg, n) for key, seg, n in own.order_by().values_list(*columns)}
    rest = chunked(
        [key for key in keys if key not in said],
        lambda some: ArcAssignment.objects.filter(arc_key__in=some).values_list(*columns),
    )
    said.update((key, (segment, contour)) for key, segment, contour in rest)
    return said


def _stops(by_id: dict[int, TableData], start_us: int, end_us: int, now_us: int) -> None:
    all_stops = Stoppage.objects.filter(
        table__in=by_id, started_at__lt=from_us(end_us)
    ).select_related("reason")
    for row in _going_on(all_stops, start_us):
        begun = to_us(row.started_at)
        ended = to_us(row.ended_at) if row.ended_at else max(begun, now_us)
        by_id[row.table_id].stops.append(
            StopNow(
                row.pk,
                row.run_id,
                begun,
                ended,
                row.ended_at is None,
                row.reason.label if row.reason else _("no reason given"),
                row.planned,
                row.reason is not None,
                row.reason is not None or row.evidence != Evidence.MEASURED,
            )
        )


def _stretches(by_id: dict[int, TableData], start_us: int, end_us: int) -> list[Segment]:
    rows = Segment.objects.filter(run__table__in=by_id, started_at__lt=from_us(end_us))
    rows = rows.exclude(run__state=RunState.VOIDED)
    return _going_on(rows.select_related("torch", "wear_set", "operator"), start_us)


class _RunRow(NamedTuple):
    pk: uuid.UUID
    table_id: int
    revision_id: int
    nest: str
    state: str
    opened_at: datetime
    closed_at: datetime | None
    nest_id: int
    material_id: int
    thickness_mm: float
    queue_item_id: int | None
    plan: str


@dataclass(frozen=True, slots=True)
class _Steps:
    """What a run's plan says of each contour, and of loading."""

    steps_us: tuple[int, ...]
    load_us: int
    arcs_s: tuple[float, ...]
    cut_s: float | None


@lru_cache(maxsize=500)
def _steps(plan: str) -> _Steps:
    """Kept by the plan's own text: sheets of one nest mostly have the same, some 3 kB."""
    fields = json.loads(plan)
    times = plan_times(fields, (), ())
    if times is None:
        return _Steps((), 0, (), None)
    arcs, travel = times.arc_by_contour_us or {}, times.travel_by_contour_us or {}
    return _Steps(
        tuple(us + travel.get(number, 0) for number, us in arcs.items()),
        times.load_us,
        tuple(us / 1_000_000 for us in arcs.values()),
        float(fields["total_s"]),
    )


def _runs(
    by_id: dict[int, TableData], stretches: Sequence[Segment], now_us: int, jobs_of_all: bool
) -> None:
    segments: dict[uuid.UUID, list[Segment]] = defaultdict(list)
    for row in stretches:
        segments[row.run_id].append(row)
    columns = (
        "pk",
        "table",
        "revision",
        "revision__nest__name",
        "state",
        "opened_at",
        "closed_at",
        "revision__nest__pk",
        "revision__nest__material",
        "revision__nest__thickness_mm",
        "queue_item",
        Cast("plan", TextField()),
    )
    runs = [
        _RunRow(*row)
        for row in chunked(
            list(segments), lambda some: Run.objects.filter(pk__in=some).values_list(*columns)
        )
    ]
    pierces, jobs = _contours(
        {run.revision_id for run in runs if jobs_of_all or run.state in GOING}
    )
    for run in sorted(runs, key=lambda run: segments[run.pk][0].started_at):
        own = segments[run.pk]
        plan, last = _steps(run.plan), own[-1]
        by_id[run.table_id].runs.append(
            RunToday(
                run_id=run.pk,
                nest=run.nest,
                state=run.state,
                opened_at=run.opened_at,
                closed_at=run.closed_at,
                wear_set=str(last.wear_set),
                duty=last.wear_set.duty,
                operator=last.operator.shown_name if last.operator else "",
                segments=tuple(_segment(row, now_us) for row in own),
                steps_us=plan.steps_us,
                load_us=plan.load_us,
                arcs_s=plan.arcs_s,
                contours=pierces.get(run.revision_id, len(plan.arcs_s)),
                jobs=tuple(sorted(jobs[run.revision_id])),
                nest_id=run.nest_id,
                cell=cell_of(last.wear_set_id, run.material_id, run.thickness_mm),
                cut_s=plan.cut_s,
                queue_item_id=run.queue_item_id,
            )
        )


def _going_on(rows: QuerySet[Spanned], start_us: int) -> list[Spanned]:
    """Of what has a start and an end, oldest first: what has not ended, and what ended after
    `start_us` without having begun `LONGEST` before. Two queries, so that each has its index."""
    start = from_us(start_us)
    both: list[Spanned] = list(rows.filter(ended_at=None))
    both += rows.filter(ended_at__gt=start, started_at__gte=start - LONGEST)
    return sorted(both, key=lambda row: (row.started_at, row.pk))


def _segment(row: Segment, now_us: int) -> SegmentIn:
    begun = to_us(row.started_at)
    return SegmentIn(
        row.pk,
        row.torch_id,
        row.torch.code,
        row.wear_set_id,
        row.wear_set.duty,
        row.wear_set.current_a,
        row.operator_id,
        begun,
        to_us(row.ended_at) if row.ended_at else max(begun, now_us),
        row.first_contour,
        row.last_contour,
        row.end_reason,
    )


def _contours(revisions: set[int]) -> tuple[dict[int, int], dict[int, set[str]]]:
    counts: dict[int, int] = defaultdict(int)
    jobs: dict[int, set[str]] = defaultdict(set)
    if not revisions:
        return counts, jobs
    rows = Contour.objects.filter(revision__in=revisions).order_by()
    by_job = rows.values_list("revision_id", "line__job__number").annotate(Count("pk"))
    for revision, job, contours in by_job:
        counts[revision] += contours
        if job:
            jobs[revision].add(job)
    return counts, jobs


def _fitted(by_id: dict[int, TableData], now: datetime) -> None:
    for table_id, wear_set in sets_fitted(by_id, now).items():
        by_id[table_id].fitted = (wear_set.duty, str(wear_set))
