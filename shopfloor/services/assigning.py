"""Writing down which run each arc belonged to, for one table and a stretch of time."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from datetime import datetime
from typing import Any

from django.db import transaction
from django.db.models import Q

from shopfloor.matching import (
    ArcSeen,
    Decision,
    Halt,
    Matched,
    Planned,
    Quiet,
    Span,
    match,
    overlap_us,
)
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
from shopfloor.selectors.arcs import arcs_between, arcs_by_key, from_us, to_us
from shopfloor.selectors.shop import the_shop
from shopfloor.services.work import work_want

UNDONE = "undone"  # why a segment ended: its start was taken back
ASSIGNED = "assigned"  # it was made for arcs that a person gave to the run


@transaction.atomic
def arcs_matched(*, table: Table, start: datetime, end: datetime, now: datetime) -> set[str]:
    """Matches all arcs of a table in [start, end) again and writes what changed. Returns the ids
    of the runs whose arcs or ends are not what they were."""
    segments = _segments(table, start, end)
    low = min([to_us(start), *(to_us(segment.started_at) for segment in segments)])
    high = max([to_us(end), *(to_us(s.ended_at or end) for s in segments)])
    arcs = arcs_between(table, low - 3_600_000_000, high)  # one may burn into a segment's start
    rows = _assignments(arcs, segments)
    arcs = _with_said(arcs, rows)
    shop = the_shop()
    halts = _halts(table, from_us(low), from_us(high))
    matched = match(
        _spans(segments),
        arcs,
        said={row.arc_key: row.segment_id for row in rows.values() if row.by_id},
        halts=halts,
        gap_us=shop.run_gap_s * 1_000_000,
        now_us=to_us(now),
    )
    touched = _write_assignments(matched.decisions, rows, arcs, now)
    touched |= _write_ends(matched, segments)
    touched |= _write_quiets(matched.quiets, segments, halts, shop.ask_reason_after_s, table)
    runs = {
        str(run)
        for run in Segment.objects.filter(
            pk__in=[pk for pk in touched if pk is not None]
        ).values_list("run", flat=True)
    }
    for run in sorted(runs):
        work_want(kind="run", key=run)
    return runs


def _segments(table: Table, start: datetime, end: datetime) -> list[Segment]:
    """The segments of every run that has one in the time, whole runs at once."""
    near = Segment.objects.filter(torch__table=table, started_at__lt=end).filter(
        Q(ended_at=None) | Q(ended_at__gt=start) | Q(end_assumed=True, end_reason="")
    )
    runs = near.exclude(run__state=RunState.VOIDED).values("run")
    return list(
        Segment.objects.filter(run__in=runs, torch__table=table)
        .exclude(end_reason=UNDONE)
        .select_related("torch__table", "run")
        .order_by("started_at", "pk")
    )


def _spans(segments: Sequence[Segment]) -> list[Span]:
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
    """Whether a segment carries on with the contour after the last of the one before: after a
    change of set or a carrying on, where one person took over from another on the spot, and
    after arcs that somebody found to belong before the start that was pressed."""
    if before is None:
        return False
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


def _assignments(arcs: Sequence[ArcSeen], segments: Sequence[Segment]) -> dict[str, ArcAssignment]:
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


def _with_said(arcs: list[ArcSeen], rows: dict[str, ArcAssignment]) -> list[ArcSeen]:
    """Arcs a person gave to one of these segments may lie outside the time looked at."""
    there = {arc.key for arc in arcs}
    return arcs + arcs_by_key([k for k, row in rows.items() if row.by_id and k not in there])


def _halts(table: Table, start: datetime, end: datetime) -> list[Halt]:
    """Stoppages a person vouches for. One that was only measured says nothing of who burns
    next, until someone gives its reason."""
    rows = (
        Stoppage.objects.filter(table=table, started_at__lt=end)
        .filter(Q(ended_at=None) | Q(ended_at__gt=start))
        .exclude(evidence=Evidence.MEASURED, reason=None)
    )
    return [
        Halt(table.code, to_us(row.started_at), to_us(row.ended_at) if row.ended_at else None)
        for row in rows
    ]


def _write_assignments(
    decisions: Sequence[Decision],
    rows: dict[str, ArcAssignment],
    arcs: Sequence[ArcSeen],
    now: datetime,
) -> set[int | None]:
    touched: set[int | None] = set()
    made, changed, gone = [], [], []
    for decision in decisions:
        row = rows.get(decision.key)
        if row is not None and row.by_id:
            if row.segment_id == decision.segment is not None and (
                (row.contour_number, row.repeat) != (decision.contour, decision.repeat)
            ):
                row.contour_number, row.repeat = decision.contour, decision.repeat
                changed.append(row)
                touched.add(row.segment_id)
        elif decision.segment is None:
            if row is not None:
                gone.append(row)
        elif row is None:
            made.append(
                ArcAssignment(
                    arc_key=decision.key,
                    segment_id=decision.segment,
                    contour_number=decision.contour,
                    repeat=decision.repeat,
                    at=now,
                )
            )
            touched.add(decision.segment)
        elif (row.segment_id, row.contour_number, row.repeat) != (
            decision.segment,
            decision.contour,
            decision.repeat,
        ):
            touched |= {row.segment_id, decision.segment}
            row.segment_id, row.at = decision.segment, now
            row.contour_number, row.repeat = decision.contour, decision.repeat
            changed.append(row)
    there = {arc.key for arc in arcs}
    gone += [row for key, row in rows.items() if key not in there and not row.by_id]
    touched |= {row.segment_id for row in gone}
    ArcAssignment.objects.bulk_create(made, batch_size=500)
    ArcAssignment.objects.bulk_update(
        changed, ["segment", "contour_number", "repeat", "at"], batch_size=200
    )
    for index in range(0, len(gone), 500):
        pks = [row.pk for row in gone[index : index + 500]]
        ArcAssignment.objects.filter(pk__in=pks, by=None).delete()
    return touched


def _write_ends(matched: Matched, segments: Sequence[Segment]) -> set[int | None]:
    """Assumed ends and the contours each segment reached."""
    touched: set[int | None] = set()
    by_pk = {segment.pk: segment for segment in segments}
    last = {segment.run_id: segment.pk for segment in segments}
    for ended in matched.ends:
        segment = by_pk[ended.segment]
        values: dict[str, Any] = {
            "first_contour": ended.first_contour,
            "last_contour": ended.last_contour,
        }
        pressed = segment.ended_at is not None and not segment.end_assumed
        if not pressed and ended.assumed_us is not None:
            values |= {"ended_at": from_us(ended.assumed_us), "end_assumed": True}
        elif segment.end_assumed and not segment.end_reason and last[segment.run_id] == segment.pk:
            values |= {"ended_at": None, "end_assumed": False}
        changed = {name: new for name, new in values.items() if getattr(segment, name) != new}
        if changed:
            if segment.ended_at and changed.get("ended_at"):
                # A stoppage that began where the segment was thought to end moves with it.
                Stoppage.objects.filter(run=segment.run, started_at=segment.ended_at).update(
                    started_at=changed["ended_at"]
                )
            for name, new in changed.items():
                setattr(segment, name, new)
            segment.save(update_fields=list(changed))
            touched.add(segment.pk)
    return touched


def _write_quiets(
    quiets: Sequence[Quiet],
    segments: Sequence[Segment],
    halts: Sequence[Halt],
    ask_after_s: int,
    table: Table,
) -> set[int | None]:
    """Long pauses inside a run become stoppages that ask for a reason, unless one was given."""
    by_pk = {segment.pk: segment for segment in segments}
    runs = {segment.run_id for segment in segments}
    standing = {
        (row.run_id, to_us(row.started_at)): row
        for row in Stoppage.objects.filter(
            run__in=runs, evidence=Evidence.MEASURED, reason=None, by=None
        ).exclude(ended_at=None)
    }
    touched: set[int | None] = set()
    for quiet in quiets:
        length_us = quiet.end_us - quiet.start_us
        given_us = overlap_us(halts, table.code, quiet.start_us, quiet.end_us)
        if length_us <= ask_after_s * 1_000_000 or given_us:
            continue
        run_id = by_pk[quiet.segment].run_id
        row = standing.pop((run_id, quiet.start_us), None)
        if row is not None and row.ended_at == from_us(quiet.end_us):
            continue
        row = row or Stoppage(
            table=table,
            run_id=run_id,
            started_at=from_us(quiet.start_us),
            evidence=Evidence.MEASURED,
        )
        row.ended_at = from_us(quiet.end_us)
        row.save()
        touched.add(quiet.segment)
    for row in standing.values():
        touched |= {segment.pk for segment in segments if segment.run_id == row.run_id}
        row.delete()
    return touched
