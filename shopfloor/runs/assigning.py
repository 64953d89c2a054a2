"""Writing down which run each arc belonged to, for one table and a stretch of time."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from typing import Any

from django.db import transaction

from shopfloor.background.request import request_work
from shopfloor.models import (
    ArcAssignment,
    Evidence,
    Segment,
    Stoppage,
    Table,
)
from shopfloor.runs.arcs import from_us, to_us
from shopfloor.runs.assignment_rows import Made, assignments_insert
from shopfloor.runs.matching import (
    ArcInput,
    Decision,
    Matched,
    SilentSpan,
    StoppageSpan,
    match,
    overlap_us,
)
from shopfloor.runs.matching_input import (
    arcs_to_decide,
    assignments_of,
    silent_halts,
    spans_of,
    stoppages_between,
    window,
    with_manual_assignments,
)
from shopfloor.site.queries import the_shop


@transaction.atomic
def arcs_matched(*, table: Table, start: datetime, end: datetime, now: datetime) -> set[str]:
    """Matches all arcs of a table in [start, end) again and writes what changed. Returns the ids
    of the runs whose arcs or ends are not what they were."""
    low, high, segments = window(table, start, end)
    arcs = arcs_to_decide(table, low, high)
    rows = assignments_of(arcs, segments)
    arcs, said = with_manual_assignments(arcs, rows, low, high)
    shop = the_shop()
    begun = min([low, *(s.started_at for s in segments)])
    halts = stoppages_between(table, begun, high)
    silent = silent_halts(table, begun, max(high, now), now) if segments else []
    matched = match(
        spans_of(segments),
        arcs,
        said=said,
        halts=[*halts, *silent],
        gap_us=shop.run_gap_s * 1_000_000,
        now_us=to_us(now),
    )
    touched = _write_assignments(matched.decisions, rows, arcs, now)
    touched |= _write_ends(matched, segments)
    unheard = halts, silent
    touched |= _write_quiets(matched.quiets, segments, unheard, shop.ask_reason_after_s, table)
    runs = {
        str(run)
        for run in Segment.objects.filter(
            pk__in=[pk for pk in touched if pk is not None]
        ).values_list("run", flat=True)
    }
    for run in sorted(runs):
        request_work(kind="run", key=run)
    return runs


def _write_assignments(
    decisions: Sequence[Decision],
    rows: dict[str, ArcAssignment],
    arcs: Sequence[ArcInput],
    now: datetime,
) -> set[int | None]:
    touched: set[int | None] = set()
    made: list[Made] = []
    changed, gone = [], []
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
            made.append((decision.key, decision.segment, decision.contour, decision.repeat))
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
    assignments_insert(made, at=now)
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
    quiets: Sequence[SilentSpan],
    segments: Sequence[Segment],
    unheard: tuple[Sequence[StoppageSpan], Sequence[StoppageSpan]],
    ask_after_s: int,
    table: Table,
) -> set[int | None]:
    """Long pauses inside a run become stoppages that ask for a reason, unless one was given.
    `unheard`: stoppages a person vouches for, and silences of the source, which are no pause."""
    halts, silent = unheard
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
        silent_us = overlap_us(silent, table.code, quiet.start_us, quiet.end_us)
        length_us = quiet.end_us - quiet.start_us - silent_us
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
