"""Runs with everything beneath them, in a fixed number of queries however many runs."""

from __future__ import annotations

import uuid
from collections import defaultdict
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace
from datetime import datetime

from django.db.models import QuerySet

from planning.calc.spans import Span, intersect, subtract, union
from planning.inputs.arcs import assigned_arcs
from planning.inputs.chunks import chunked
from planning.inputs.plans import fallback_plans, plan_times
from planning.inputs.sheets import sheets_of
from planning.inputs.shifts import ShiftBook
from planning.inputs.types import ArcIn, ContourIn, RunIn, ScrapIn, SegmentIn, StopIn
from shopfloor.models import (
    Contour,
    Evidence,
    PartResult,
    ReasonKind,
    Run,
    Segment,
    Stoppage,
)
from shopfloor.runs.arcs import from_us, to_us
from shopfloor.runs.silences import source_silences


def load_runs(
    runs: QuerySet[Run], *, now: datetime, shifts: ShiftBook | None = None
) -> list[RunIn]:
    """Every run of a query set, oldest first, as plain values. A run that is still going ends
    now. Give `shifts` where the caller has them laid out already."""
    rows = list(runs.select_related("table", "sheet").order_by("opened_at", "pk"))
    if not rows:
        return []
    ids = [run.pk for run in rows]
    now_us = to_us(now)
    segments = _segments(ids, now_us)
    stops = _stoppages(ids, now_us)
    of_segment = {seg.pk: run for run, own in segments.items() for seg in own}
    edges = [edge for own in segments.values() for seg in own for edge in (seg.from_us, seg.to_us)]
    low, high = min(edges, default=now_us), max(edges, default=now_us)
    if shifts is None:  # of the runs' own time: up to now, an old run's would be of a year
        ends = (stop.to_us for own in stops.values() for stop in own)
        last_us = max([to_us(rows[-1].opened_at), *edges, *ends])
        shifts = ShiftBook(rows[0].opened_at, from_us(last_us))
    arcs = assigned_arcs(list(of_segment), (low, high), now_us)
    by_run: dict[uuid.UUID, list[ArcIn]] = defaultdict(list)
    for arc in arcs:
        by_run[of_segment[arc.segment_id]].append(arc)
    contours = _contours({run.revision_id for run in rows})
    plans = fallback_plans(rows, segments)
    scraps = _scraps(ids)
    sheets = sheets_of(run.sheet for run in rows if run.sheet is not None)
    heard = source_silences({run.table for run in rows}, low, high, now)
    loaded = []
    for run in rows:
        own = tuple(segments.get(run.pk, ()))
        halted = tuple(stops.get(run.pk, ()))
        heard_of = heard[run.table.code]
        silent = heard_of.silences if heard_of.listens else ()
        torches = {segment.torch for segment in own}
        fields = run.plan if run.plan.get("total_s") is not None else plans.get(run.pk, {})
        own_contours = contours.get(run.revision_id, ())
        loaded.append(
            RunIn(
                run_id=run.pk,
                revision_id=run.revision_id,
                table_id=run.table_id,
                table_code=run.table.code,
                state=run.state,
                evidence=run.evidence,
                opened_at=run.opened_at,
                shift_date=shifts.date_of(to_us(run.opened_at)),
                sheet=sheets.get(run.sheet_id) if run.sheet_id else None,
                windows=tuple(_windows(own, halted, shifts, run.table.code)),
                segments=own,
                stoppages=tuple(_heard(halted, silent)),
                silences=silent,
                entries=tuple(one for one in heard_of.entries if one.torch in torches),
                arcs=tuple(by_run.get(run.pk, ())),
                plan=plan_times(fields, own_contours, own, silent),
                plan_fields=fields,
                contours=own_contours,
                scraps=tuple(scraps.get(run.pk, ())),
            )
        )
    return loaded


def _windows(
    segments: Sequence[SegmentIn], stops: Sequence[StopIn], shifts: ShiftBook, table: str
) -> list[Span]:
    """A run's time: its segments, and its stoppages as far as its table was at work."""
    halted = union((stop.from_us, stop.to_us) for stop in stops)
    if shifts.has_shifts:
        halted = intersect(halted, shifts.worked_at(table))
    return union([(seg.from_us, seg.to_us) for seg in segments] + halted)


def _heard(stops: Sequence[StopIn], silences: Sequence[Span]) -> Iterator[StopIn]:
    """Stoppages without what nobody heard: a pause that only the source tells of says nothing of
    a time in which it was silent."""
    for stop in stops:
        if stop.vouched:
            yield stop
            continue
        for start, end in subtract([(stop.from_us, stop.to_us)], union(silences)):
            yield replace(stop, from_us=start, to_us=end)


def _segments(ids: Sequence[uuid.UUID], now_us: int) -> dict[uuid.UUID, list[SegmentIn]]:
    by_run: dict[uuid.UUID, list[SegmentIn]] = defaultdict(list)
    rows = chunked(
        ids,
        lambda some: (
            Segment.objects.filter(run__in=some)
            .order_by("started_at", "pk")
            .values_list(
                "run_id",
                "pk",
                "torch_id",
                "torch__code",
                "wear_set_id",
                "wear_set__duty",
                "wear_set__current_a",
                "operator_id",
                "started_at",
                "ended_at",
                "first_contour",
                "last_contour",
                "end_reason",
            )
        ),
    )
    for run_id, pk, torch_id, torch, set_id, duty, amps, person, started, ended, *rest in rows:
        start_us = to_us(started)
        end_us = to_us(ended) if ended else max(start_us, now_us)
        by_run[run_id].append(
            SegmentIn(pk, torch_id, torch, set_id, duty, amps, person, start_us, end_us, *rest)
        )
    return by_run


def _stoppages(ids: Sequence[uuid.UUID], now_us: int) -> dict[uuid.UUID, list[StopIn]]:
    by_run: dict[uuid.UUID, list[StopIn]] = defaultdict(list)
    rows = chunked(
        ids,
        lambda some: (
            Stoppage.objects.filter(run__in=some)
            .order_by("started_at", "pk")
            .values_list("run_id", "started_at", "ended_at", "reason__kind", "evidence")
        ),
    )
    for run_id, started, ended, kind, evidence in rows:
        start_us = to_us(started)
        end_us = to_us(ended) if ended else max(start_us, now_us)
        vouched = bool(kind) or evidence != Evidence.MEASURED
        stop = StopIn(start_us, end_us, kind == ReasonKind.CRASH, vouched)
        by_run[run_id].append(stop)
    return by_run


def _contours(revisions: Iterable[int]) -> dict[int, tuple[ContourIn, ...]]:
    by_revision: dict[int, list[ContourIn]] = defaultdict(list)
    rows = chunked(
        sorted(revisions),
        lambda some: (
            Contour.objects.filter(revision__in=some)
            .order_by("revision", "number")
            .values_list(
                "revision_id",
                "number",
                "line_id",
                "part",
                "copy",
                "inner",
                "cut_mm",
                "net_area_mm2",
                "pierces",
                "common_share",
                "parts",
            )
        ),
    )
    for revision, *row in rows:
        by_revision[revision].append(ContourIn(*row))
    return {revision: tuple(own) for revision, own in by_revision.items()}


def _scraps(ids: Sequence[uuid.UUID]) -> dict[uuid.UUID, list[ScrapIn]]:
    by_run: dict[uuid.UUID, list[ScrapIn]] = defaultdict(list)
    rows = chunked(
        ids,
        lambda some: (
            PartResult.objects.filter(run__in=some, outcome="scrap")
            .order_by("pk")
            .values_list("run_id", "line_id", "quantity", "cause")
        ),
    )
    for run_id, *row in rows:
        by_run[run_id].append(ScrapIn(*row))
    return by_run
