"""What matching needs to know of a table and a stretch of time, as rows and as plain values."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from datetime import datetime
from typing import Any

from django.db.models import Q, QuerySet

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
from shopfloor.runs.arcs import arcs_between, arcs_by_key, to_us
from shopfloor.runs.matching import ArcInput, Planned, Span, StoppageSpan
from shopfloor.runs.silences import silences_at_work

LONGEST_US = 3_600_000_000  # no contour burns longer than an hour
UNDONE = "undone"  # why a segment ended: its start was taken back
ASSIGNED = "assigned"  # it was made for arcs that a person gave to the run


def window(
    table: Table, start: datetime, end: datetime
) -> tuple[datetime, datetime, list[Segment]]:
    """The time to decide, stretched to whole segments, and every segment it needs: those in that
    time, and the others of their runs, which number its contours."""
    own = Segment.objects.filter(torch__table=table).exclude(run__state=RunState.VOIDED)
    own = own.exclude(end_reason=UNDONE)
    near = [*own.filter(_within(start, end)), *_last_before(own, table, start)]
    low = min([start, *(segment.started_at for segment in near)])
    high = max([end, *(segment.ended_at for segment in near if segment.ended_at)])
    runs = {segment.run_id for segment in [*near, *own.filter(_within(low, high))]}
    segments = own.filter(run__in=runs).select_related("torch__table", "run")
    return low, high, list(segments.order_by("started_at", "pk"))


def _within(start: datetime, end: datetime) -> Q:
    return Q(started_at__lt=end) & (Q(ended_at=None) | Q(ended_at__gt=start))


def _last_before(own: QuerySet[Segment], table: Table, start: datetime) -> list[Segment]:
    """The last segment of each torch before a time: one whose end is assumed may go on."""
    found = [
        own.filter(torch=torch, started_at__lte=start).order_by("started_at", "pk").last()
        for torch in table.torches.all()
    ]
    return [segment for segment in found if segment is not None and segment.end_assumed]


def arcs_to_decide(table: Table, low: datetime, high: datetime) -> list[ArcInput]:
    """Arcs that began in the time, and those that were burning when it began."""
    low_us = to_us(low)
    arcs = arcs_between(table, low_us - LONGEST_US, to_us(high))
    return [arc for arc in arcs if arc.on_us >= low_us or (arc.off_us or low_us + 1) > low_us]


def spans_of(segments: Sequence[Segment]) -> list[Span]:
    plans = _plans({segment.run_id: segment.run for segment in segments}.values())
    last = {segment.run_id: segment.pk for segment in segments}
    before: dict[Any, Segment] = {}
    spans = []
    for segment in segments:
        pressed = segment.ended_at is not None and not segment.end_assumed
        carries_on = last[segment.run_id] == segment.pk and not segment.end_reason and not pressed
        ended = None if carries_on or segment.ended_at is None else to_us(segment.ended_at)
        spans.append(
            Span(
                id=segment.pk,
                run=str(segment.run_id),
                table=segment.torch.table.code,
                torch=segment.torch.code,
                start_us=to_us(segment.started_at),
                end_us=ended,
                pressed=pressed,
                first_contour=segment.first_contour,
                follows_on=_follows_on(before.get(segment.run_id), segment),
                inserted=segment.end_reason == ASSIGNED,
                plan=plans[segment.run_id],
            )
        )
        before[segment.run_id] = segment
    return spans


def _follows_on(before: Segment | None, segment: Segment) -> bool:
    """Whether a segment carries on with the contour after the last of the one before: where it
    says so, after a change of set, where one person took over from another on the spot, and
    after arcs that somebody found to belong before the start that was pressed."""
    if before is None:
        return False
    if segment.carries_on:
        return True
    handed = before.end_reason == "shift" and before.ended_at == segment.started_at
    found = before.end_reason == ASSIGNED and segment.first_contour <= (before.last_contour or 1)
    return handed or found or before.end_reason == "change"


def _plans(runs: Iterable[Run]) -> dict[Any, tuple[Planned, ...]]:
    runs = list(runs)
    starts: dict[int, list[int]] = {}
    contours = Contour.objects.filter(revision__in={run.revision_id for run in runs})
    for revision, pierces in contours.order_by("number").values_list("revision", "pierces"):
        starts.setdefault(revision, []).append(pierces)
    found: dict[Any, tuple[Planned, ...]] = {}
    for run in runs:
        seconds = run.plan.get("arcs_s") or []
        counts = starts.get(run.revision_id) or [1] * len(seconds)
        found[run.pk] = tuple(
            Planned(seconds[index] if index < len(seconds) else None, count)
            for index, count in enumerate(counts)
        )
    return found


def assignments_of(
    arcs: Sequence[ArcInput], segments: Sequence[Segment]
) -> dict[str, ArcAssignment]:
    """What is on record for these arcs and these segments."""
    rows = {
        row.arc_key: row
        for row in ArcAssignment.objects.filter(segment__in=[segment.pk for segment in segments])
    }
    keys = [arc.key for arc in arcs if arc.key not in rows]
    for index in range(0, len(keys), 500):
        for row in ArcAssignment.objects.filter(arc_key__in=keys[index : index + 500]):
            rows[row.arc_key] = row
    return rows


def with_manual_assignments(
    arcs: list[ArcInput], rows: dict[str, ArcAssignment], low: datetime, high: datetime
) -> tuple[list[ArcInput], dict[str, int | None]]:
    """All arcs these segments hold, and those that stay where they are: what a person said, and
    what lies outside the time to decide. An arc inside it that does not count (of a source that
    is no master any more) is let go."""
    there = {arc.key for arc in arcs}
    low_us, high_us = to_us(low), to_us(high)
    kept = [
        arc
        for arc in arcs_by_key([key for key in rows if key not in there])
        if rows[arc.key].by_id or not low_us <= arc.on_us < high_us
    ]
    said = {arc.key: rows[arc.key].segment_id for arc in kept}
    said |= {key: row.segment_id for key, row in rows.items() if row.by_id}
    return arcs + kept, said


def silent_halts(table: Table, start: datetime, end: datetime, now: datetime) -> list[StoppageSpan]:
    """Times the source was silent in a shift: a pause with one in it is not known to be one."""
    spans = silences_at_work(table, to_us(start), to_us(end), now)
    return [StoppageSpan(table.code, begun, ended) for begun, ended in spans]


def stoppages_between(table: Table, start: datetime, end: datetime) -> list[StoppageSpan]:
    """Stoppages a person vouches for. One that was only measured says nothing of who burns
    next, until someone gives its reason."""
    rows = (
        Stoppage.objects.filter(table=table, started_at__lt=end)
        .filter(Q(ended_at=None) | Q(ended_at__gt=start))
        .exclude(evidence=Evidence.MEASURED, reason=None)
    )
    return [
        StoppageSpan(
            table.code, to_us(row.started_at), to_us(row.ended_at) if row.ended_at else None
        )
        for row in rows
    ]
