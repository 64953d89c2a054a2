"""Which run each arc belonged to, and which contour it was. Pure: instants are integer
microseconds, nothing is read or written here.

Rules, per table and torch:

- an arc belongs to the segment it begins in; one already burning when a segment was opened
  belongs to it too, unless another segment held it;
- an end that a person pressed holds. Without one a segment ends at its last arc once nothing has
  burnt for the shop's gap; time a person gave a reason for (a halt) is not counted in the gap;
- what a person said of an arc is never changed;
- what cannot be known stays unknown: a misfire is seen only where the source reports pierces, a
  contour burnt again within a segment only where lengths can tell it from the next one, and arcs
  beyond the last planned contour have no number.
"""

from __future__ import annotations

from bisect import bisect_right
from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

# An arc shorter than this share of its plan may be a cut that failed; our assumption.
SHORT = 0.6
# An arc within this share of a contour's plan fits it; covers an override of 80 to 125 %.
FITS = 0.25
# An arc of at least this share of the longest of a contour's arcs cut it through.
WHOLE = 0.9


@dataclass(frozen=True, slots=True)
class ArcSeen:
    """`off_us` None: still burning. `pierces` None: the source cannot know."""

    key: str
    table: str
    torch: str
    on_us: int
    off_us: int | None
    pierces: int | None = None

    @property
    def seconds(self) -> float | None:
        return None if self.off_us is None else (self.off_us - self.on_us) / 1e6


@dataclass(frozen=True, slots=True)
class Planned:
    """One contour's plan; `seconds` None: no plan. No pierce is an edge start."""

    seconds: float | None
    pierces: int = 1


@dataclass(frozen=True, slots=True)
class Span:
    """A segment. `pressed`: its end was said by a person. `follows_on`: its first contour is the
    one after the last of the run's segment before. `inserted`: made for arcs that a person gave to
    the run, so that it cuts no other segment short."""

    id: int
    run: str
    table: str
    torch: str
    start_us: int
    end_us: int | None = None
    pressed: bool = False
    first_contour: int = 1
    follows_on: bool = False
    inserted: bool = False
    plan: tuple[Planned, ...] = ()


@dataclass(frozen=True, slots=True)
class Halt:
    """Time at a table that a person gave a reason for; `end_us` None: still."""

    table: str
    start_us: int
    end_us: int | None


@dataclass(frozen=True, slots=True)
class Decision:
    """`segment` None: no run. `contour` None: cannot be known."""

    key: str
    segment: int | None
    contour: int | None = None
    repeat: bool = False


@dataclass(frozen=True, slots=True)
class Ended:
    """What the arcs say of a segment. `assumed_us`: its end, where nobody pressed it and it has
    lapsed; `next_contour`: the one after the last numbered."""

    segment: int
    assumed_us: int | None
    first_contour: int
    last_contour: int | None


@dataclass(frozen=True, slots=True)
class Quiet:
    """No arc inside a segment, from one arc's end to the next one's start."""

    segment: int
    start_us: int
    end_us: int


@dataclass(frozen=True, slots=True)
class Matched:
    decisions: tuple[Decision, ...]
    ends: tuple[Ended, ...]
    quiets: tuple[Quiet, ...]


@dataclass(frozen=True, slots=True)
class Cluster:
    """Arcs of one torch with no run, close enough together to be one stretch of work."""

    table: str
    torch: str
    keys: tuple[str, ...]
    start_us: int
    end_us: int
    arc_s: float  # of those that ended


def match(
    spans: Iterable[Span],
    arcs: Iterable[ArcSeen],
    *,
    said: dict[str, int | None],
    halts: Iterable[Halt] = (),
    gap_us: int,
    now_us: int,
) -> Matched:
    """Decides all arcs at once. `said` maps an arc's key to the segment a person gave it (None: to
    no run). Segments of a run must all be there for its contours to be numbered."""
    ordered = sorted(spans, key=lambda span: (span.start_us, span.id))
    halts = sorted(halts, key=lambda halt: halt.start_us)
    seen = sorted(arcs, key=lambda arc: (arc.on_us, arc.key))
    holding, lapsed = _hold(ordered, seen, said, halts, gap_us, now_us)
    numbered, contours = _number_runs(ordered, holding)
    owner = {arc.key: span for span in holding for arc in holding[span]}
    decisions = [numbered.get(arc.key) or Decision(arc.key, owner.get(arc.key)) for arc in seen]
    ends = [
        Ended(span.id, lapsed.get(span.id), *contours.get(span.id, (span.first_contour, None)))
        for span in ordered
    ]
    quiets = [
        Quiet(span.id, before, after)
        for span in ordered
        for before, after in _pauses(holding[span.id])
    ]
    return Matched(tuple(decisions), tuple(ends), tuple(quiets))


def clusters(arcs: Iterable[ArcSeen], *, gap_us: int) -> list[Cluster]:
    """Arcs without a run, split per torch wherever nothing burnt for longer than the gap."""
    lanes: dict[tuple[str, str], list[list[ArcSeen]]] = defaultdict(list)
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


def overlap_us(halts: Sequence[Halt], table: str, start_us: int, end_us: int) -> int:
    """How much of a time a person gave a reason for."""
    return union_us(
        (max(halt.start_us, start_us), min(halt.end_us or end_us, end_us))
        for halt in halts
        if halt.table == table
        and halt.start_us < end_us
        and (halt.end_us is None or halt.end_us > start_us)
    )


def _end_of(group: Sequence[ArcSeen]) -> int:
    return max(arc.on_us if arc.off_us is None else arc.off_us for arc in group)


def _pauses(arcs: Sequence[ArcSeen]) -> list[tuple[int, int]]:
    found = []
    for before, after in pairwise(arcs):
        if before.off_us is not None and after.on_us > before.off_us:
            found.append((before.off_us, after.on_us))
    return found


def _hold(
    spans: Sequence[Span],
    arcs: Sequence[ArcSeen],
    said: dict[str, int | None],
    halts: Sequence[Halt],
    gap_us: int,
    now_us: int,
) -> tuple[dict[int, list[ArcSeen]], dict[int, int]]:
    """Arcs by the segment that holds them, and the assumed ends of those that lapsed."""
    holding: dict[int, list[ArcSeen]] = {span.id: [] for span in spans}
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
        last = reached.get(found.id)
        if not found.pressed and last is not None and _quiet(halts, found, last, arc.on_us, gap_us):
            lapsed[found.id] = last
            continue
        holding[found.id].append(arc)
        reached[found.id] = max(last or 0, _end_of([arc]))
    for span in spans:
        if span.pressed or span.id in lapsed or span.id not in reached:
            continue
        last, until = reached[span.id], span.end_us if span.end_us is not None else now_us
        burning = any(arc.off_us is None for arc in holding[span.id][-1:])
        over = span.end_us is not None or _quiet(halts, span, last, until, gap_us)
        if over and not burning:
            lapsed[span.id] = last
    return holding, lapsed


def _quiet(halts: Sequence[Halt], span: Span, last_us: int, until_us: int, gap_us: int) -> bool:
    """Whether nothing burnt for longer than the gap, time with a given reason left out."""
    pause_us = until_us - last_us
    if pause_us <= gap_us:
        return False
    return pause_us - overlap_us(halts, span.table, last_us, until_us) > gap_us


def _span_at(lane: Sequence[Span], starts: Sequence[int], arc: ArcSeen) -> Span | None:
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


def _number_runs(
    spans: Sequence[Span], holding: dict[int, list[ArcSeen]]
) -> tuple[dict[str, Decision], dict[int, tuple[int, int | None]]]:
    runs: dict[str, list[Span]] = defaultdict(list)
    for span in spans:
        runs[span.run].append(span)
    decisions: dict[str, Decision] = {}
    contours: dict[int, tuple[int, int | None]] = {}
    for run in runs.values():
        following = run[0].first_contour
        burnt: dict[int, list[tuple[ArcSeen, Decision]]] = defaultdict(list)
        for span in run:
            first = following if span.follows_on else span.first_contour
            last = None
            for arc, decision in number(span, holding[span.id], first):
                decisions[arc.key] = decision
                if decision.contour is not None:
                    last = decision.contour
                    if not decision.repeat:
                        burnt[last].append((arc, decision))
            contours[span.id] = (first, last)
            following = last + 1 if last is not None else first
        for contour, several in burnt.items():
            if len(several) > 1:
                whole = _whole(several, _planned(run[0].plan, contour))
                for arc, decision in several:
                    decisions[arc.key] = replace(decision, repeat=arc.key != whole)
    return decisions, contours


def _whole(several: Sequence[tuple[ArcSeen, Decision]], planned: Planned | None) -> str:
    """Of a contour's arcs the one that cut it: the first that is as good as the longest, or one
    still burning where none so far is as long as planned."""
    longest = max(arc.seconds or 0.0 for arc, _ in several)
    still = [arc.key for arc, _ in several if arc.off_us is None]
    plan_s = planned.seconds if planned is not None else None
    if still and (not plan_s or longest < WHOLE * plan_s):
        return still[-1]
    return next(arc.key for arc, _ in several if (arc.seconds or 0.0) >= WHOLE * longest)


def number(span: Span, arcs: Sequence[ArcSeen], first: int) -> list[tuple[ArcSeen, Decision]]:
    """A segment's arcs with their contours, by order. See the rules above for what is a repeat
    and what cannot be known."""
    found = []
    contour = first
    for index, arc in enumerate(arcs):
        planned = _planned(span.plan, contour)
        if span.plan and planned is None:
            found.append((arc, Decision(arc.key, span.id)))
            continue
        after = arcs[index + 1] if index + 1 < len(arcs) else None
        again = planned is not None and (
            _misfired(arc, planned)
            or _failed(arc, after, planned, _planned(span.plan, contour + 1))
        )
        found.append((arc, Decision(arc.key, span.id, contour, again)))
        contour += 0 if again else 1
    return found


def _planned(plan: Sequence[Planned], contour: int) -> Planned | None:
    return plan[contour - 1] if 1 <= contour <= len(plan) else None


def _misfired(arc: ArcSeen, planned: Planned) -> bool:
    """Seen to burn and end without a pierce, where the source would have told of one."""
    return arc.pierces == 0 and planned.pierces > 0 and arc.off_us is not None


def _failed(
    arc: ArcSeen, after: ArcSeen | None, planned: Planned, following: Planned | None
) -> bool:
    """Too short for its contour, and the next arc fits this contour but not the one after."""
    seconds, plan_s = arc.seconds, planned.seconds
    if seconds is None or not plan_s or seconds >= SHORT * plan_s:
        return False
    if after is None or after.seconds is None or not _fits(after.seconds, plan_s):
        return False
    return following is None or (
        following.seconds is not None and not _fits(after.seconds, following.seconds)
    )


def _fits(seconds: float, plan_s: float) -> bool:
    return abs(seconds - plan_s) <= FITS * plan_s
