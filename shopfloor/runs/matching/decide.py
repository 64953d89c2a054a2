"""Which segment holds each arc. Pure."""

from __future__ import annotations

from bisect import bisect_right
from collections import defaultdict
from collections.abc import Iterable, Sequence
from itertools import pairwise

from shopfloor.runs.matching.contours import number_runs
from shopfloor.runs.matching.types import (
    ArcInput,
    Cluster,
    Decision,
    Ended,
    Matched,
    SilentSpan,
    Span,
    StoppageSpan,
)


def match(
    spans: Iterable[Span],
    arcs: Iterable[ArcInput],
    *,
    said: dict[str, int | None],
    halts: Iterable[StoppageSpan] = (),
    gap_us: int,
    now_us: int,
) -> Matched:
    """Decides all arcs at once. `said` maps an arc's key to the segment a person gave it (None: to
    no run). Segments of a run must all be there for its contours to be numbered."""
    ordered = sorted(spans, key=lambda span: (span.start_us, span.id))
    halts = sorted(halts, key=lambda halt: halt.start_us)
    seen = sorted(arcs, key=lambda arc: (arc.on_us, arc.key))
    holding, lapsed = _hold(ordered, seen, said, halts, gap_us, now_us)
    numbered, contours = number_runs(ordered, holding)
    owner = {arc.key: span for span in holding for arc in holding[span]}
    decisions = [numbered.get(arc.key) or Decision(arc.key, owner.get(arc.key)) for arc in seen]
    ends = [
        Ended(span.id, lapsed.get(span.id), *contours.get(span.id, (span.first_contour, None)))
        for span in ordered
    ]
    quiets = [
        SilentSpan(span.id, before, after)
        for span in ordered
        for before, after in _pauses(holding[span.id])
    ]
    return Matched(tuple(decisions), tuple(ends), tuple(quiets))


def clusters(arcs: Iterable[ArcInput], *, gap_us: int) -> list[Cluster]:
    """Arcs without a run, split per torch wherever nothing burnt for longer than the gap."""
    lanes: dict[tuple[str, str], list[list[ArcInput]]] = defaultdict(list)
    for arc in sorted(arcs, key=lambda arc: (arc.on_us, arc.key)):
        lane = lanes[arc.table, arc.torch]
        if lane and arc.on_us - _end_of(lane[-1]) <= gap_us:
            lane[-1].append(arc)
        else:
            lane.append([arc])
    found = [
        Cluster(
            table,
            torch,
            tuple(arc.key for arc in group),
            group[0].on_us,
            _end_of(group),
            sum(arc.seconds or 0.0 for arc in group),
        )
        for (table, torch), lane in lanes.items()
        for group in lane
    ]
    return sorted(found, key=lambda cluster: (cluster.start_us, cluster.torch))


def union_us(intervals: Iterable[tuple[int, int]]) -> int:
    """Microseconds covered by any of the intervals: a table burns while any of its torches
    does."""
    total, reached = 0, None
    for start, end in sorted(intervals):
        if reached is None or start > reached:
            total += end - start
            reached = end
        elif end > reached:
            total += end - reached
            reached = end
    return total


def overlap_us(halts: Sequence[StoppageSpan], table: str, start_us: int, end_us: int) -> int:
    """How much of a time a person gave a reason for."""
    return union_us(
        (max(halt.start_us, start_us), min(halt.end_us or end_us, end_us))
        for halt in halts
        if halt.table == table
        and halt.start_us < end_us
        and (halt.end_us is None or halt.end_us > start_us)
    )


def _end_of(group: Sequence[ArcInput]) -> int:
    return max(arc.on_us if arc.off_us is None else arc.off_us for arc in group)


def _pauses(arcs: Sequence[ArcInput]) -> list[tuple[int, int]]:
    found = []
    for before, after in pairwise(arcs):
        if before.off_us is not None and after.on_us > before.off_us:
            found.append((before.off_us, after.on_us))
    return found


def _hold(
    spans: Sequence[Span],
    arcs: Sequence[ArcInput],
    said: dict[str, int | None],
    halts: Sequence[StoppageSpan],
    gap_us: int,
    now_us: int,
) -> tuple[dict[int, list[ArcInput]], dict[int, int]]:
    """Arcs by the segment that holds them, and the assumed ends of those that lapsed."""
    holding: dict[int, list[ArcInput]] = {span.id: [] for span in spans}
    reached: dict[int, int] = {}  # where the last arc of a segment ended
    lapsed: dict[int, int] = {}
    lanes: dict[tuple[str, str], list[Span]] = defaultdict(list)
    for span in spans:
        lanes[span.table, span.torch].append(span)
    starts = {lane: [span.start_us for span in held] for lane, held in lanes.items()}
    for arc in arcs:
        if arc.key in said:
            given = said[arc.key]
            if given is not None and given in holding:
                holding[given].append(arc)
                reached[given] = max(reached.get(given, 0), _end_of([arc]))
                lapsed.pop(given, None)  # a person's word carries the segment on
            continue
        lane = lanes.get((arc.table, arc.torch), [])
        found = _span_at(lane, starts.get((arc.table, arc.torch), []), arc)
        if found is None or found.id in lapsed:
            continue
        last = reached.get(found.id, found.end_us)
        if not found.pressed and last is not None and _quiet(halts, found, last, arc.on_us, gap_us):
            lapsed[found.id] = last
            continue
        holding[found.id].append(arc)
        reached[found.id] = max(reached.get(found.id, 0), _end_of([arc]))
    for span in spans:
        if span.pressed or span.id in lapsed or span.id not in reached:
            continue
        last, until = reached[span.id], span.end_us if span.end_us is not None else now_us
        burning = any(arc.off_us is None for arc in holding[span.id][-1:])
        over = span.end_us is not None or _quiet(halts, span, last, until, gap_us)
        if over and not burning:
            lapsed[span.id] = last
    return holding, lapsed


def _quiet(
    halts: Sequence[StoppageSpan], span: Span, last_us: int, until_us: int, gap_us: int
) -> bool:
    """Whether nothing burnt for longer than the gap, time with a given reason left out."""
    pause_us = until_us - last_us
    if pause_us <= gap_us:
        return False
    return pause_us - overlap_us(halts, span.table, last_us, until_us) > gap_us


def _span_at(lane: Sequence[Span], starts: Sequence[int], arc: ArcInput) -> Span | None:
    """The segment an arc began in, the latest opened of several; else one opened while the arc
    was already burning."""
    index = bisect_right(starts, arc.on_us)
    following = lane[index] if index < len(lane) else None
    for span in reversed(lane[:index]):
        if not span.pressed or span.end_us is None or arc.on_us < span.end_us:
            return span
        if not span.inserted:
            break
    if following is not None and arc.off_us is not None and following.start_us < arc.off_us:
        return following
    return None
