"""How far a table is ahead of its plan, through a shift."""

from __future__ import annotations

import uuid
from dataclasses import dataclass

from planning.calc.ahead.clock import StaffedClock
from planning.calc.ahead.draws import Spent
from planning.calc.spans import Span, shared_us, subtract, union
from planning.reports.today_data import GOING, RunToday, TableData
from planning.reports.today_standard import Standard, Times, unstaffed
from planning.reports.today_window import Window
from shopfloor.runs.arcs import to_us
from shopfloor.svg.strip import types as strip

S = 1_000_000
MOST_PACE = 60


@dataclass(frozen=True, slots=True)
class PacePoint:
    """What was allowed for what was done of each run, and of all of them at the end of each planned
    arc (`steps`: when, us allowed), the first at the window's start. `off` is time that was no
    plan's."""

    start_us: int
    steps: tuple[tuple[int, int], ...]
    allowed: dict[uuid.UUID, Times]
    off: tuple[Span, ...]
    standard: Standard

    @property
    def until_us(self) -> int:
        return self.steps[-1][0]

    @property
    def done_us(self) -> dict[uuid.UUID, int]:
        return {run: sum(own.values()) for run, own in self.allowed.items()}

    def lost_us(self, until_us: int) -> int:
        return shared_us((self.start_us, until_us), self.off) if until_us > self.start_us else 0

    def at(self, step: tuple[int, int]) -> strip.Pace:
        """How far it was ahead then."""
        until_us, done_us = step
        there_us = until_us - self.start_us - self.lost_us(until_us)
        usual = self.standard.usual_min(there_us)
        ahead = (done_us - there_us) / S / 60
        return strip.Pace(until_us, ahead) if usual is None else strip.Pace(until_us, ahead, usual)


def pace(data: TableData, window: Window, clock: StaffedClock | None) -> list[strip.Pace]:
    """`paced` as it is drawn: not every point, but the last one always."""
    found = paced(data, window, clock)
    if found is None:
        return []
    steps = list(found.steps)
    every = max(1, len(steps) // MOST_PACE)
    drawn = steps[::every] + ([steps[-1]] if (len(steps) - 1) % every else [])
    return [found.at(step) for step in drawn]


def paced(data: TableData, window: Window, clock: StaffedClock | None) -> PacePoint | None:
    """Minutes ahead: what is allowed for the work done in the window less the time it had, planned
    stoppages and time outside every shift apart; breaks too where the table's time is fitted.
    Only where the runs' contours are known; what comes before a run counts with its first. A run
    that is over and had no plan is neither work nor time; None at all (pace unknown) while such a
    run is open, or where no planned contour was seen burnt."""
    if any(run.state in GOING and not run.steps_us for run in data.runs):
        return None
    fitted = data.time is not None and clock is not None
    standard = Standard(data.time if fitted else None)
    rest = unstaffed(clock, window.start_us, window.end_us) if fitted and clock else []
    off = union([*window.closed, *rest, *_planned_stops(data), *_unplanned_runs(data)])
    by_segment = {seg.pk: place for place, run in enumerate(data.runs) for seg in run.segments}
    allowed: dict[uuid.UUID, Times] = {}
    reached = [0] * len(data.runs)
    steps = [(window.start_us, 0)]
    all_done = 0
    for arc in data.arcs:
        if arc.contour is None or arc.segment_id not in by_segment:
            continue
        place = by_segment[arc.segment_id]
        run, before = data.runs[place], reached[place]
        if not before < arc.contour <= len(run.steps_us):
            continue
        own = allowed.get(run.run_id)
        if own is None:  # its first contour here
            starts = not allowed and bool(window.name)
            if to_us(run.opened_at) >= window.start_us:
                previous = data.runs[place - 1] if place else None
                first = standard.before(run, previous, starts=starts)
            else:
                before = arc.contour - 1
                first = standard.start() if starts else {}
            own = allowed[run.run_id] = dict(first)
            all_done += sum(first.values())
        for kind, us in standard.cut(run, sum(run.steps_us[before : arc.contour])).items():
            own[kind] = own.get(kind, 0) + us
            all_done += us
        reached[place] = arc.contour
        if arc.off_us > window.start_us:
            steps.append((arc.off_us, all_done))
    if len(steps) == 1:
        return None
    return PacePoint(window.start_us, tuple(steps), allowed, tuple(off), standard)


def spent(data: TableData, found: PacePoint) -> dict[uuid.UUID, Times]:
    """Where the time until the last planned arc went, run by run, in us: with what is allowed it
    says what was lost. Time between two runs is the second one's."""
    stops = union((stop.from_us, stop.to_us) for stop in data.stops if not stop.planned)
    lost = subtract(stops, list(found.off))
    at_us, until_us = found.start_us, found.until_us
    took: dict[uuid.UUID, Times] = {}
    previous: RunToday | None = None
    for run in sorted(data.runs, key=lambda run: run.opened_at):
        if to_us(run.opened_at) >= until_us:
            break
        own = took.setdefault(run.run_id, {})
        for kind, end_us in _stages(data, run, previous, until_us):
            span = (at_us, min(max(end_us, at_us), until_us))
            stopped = shared_us(span, lost)
            here = span[1] - span[0] - shared_us(span, found.off) - stopped
            own[kind] = own.get(kind, 0) + here
            own[Spent.STOP] = own.get(Spent.STOP, 0) + stopped
            at_us = span[1]
        previous = run
    return took


def _stages(
    data: TableData, run: RunToday, previous: RunToday | None, until_us: int
) -> list[tuple[Spent, int]]:
    """What a run went through and when each ended."""
    own = {segment.pk for segment in run.segments}
    arcs = [arc for arc in data.arcs if arc.segment_id in own and arc.on_us < until_us]
    change = previous is not None and previous.wear_set != run.wear_set
    between = Spent.BORDER if previous is None else Spent.CHANGE if change else Spent.GAP
    stages = [(between, to_us(run.opened_at))]
    if not arcs:
        return [*stages, (Spent.LOAD, to_us(run.closed_at) if run.closed_at else until_us)]
    stages += [(Spent.LOAD, arcs[0].on_us), (Spent.CUT, max(arc.off_us for arc in arcs))]
    return [*stages, (Spent.UNLOAD, to_us(run.closed_at))] if run.closed_at else stages


def _planned_stops(data: TableData) -> list[Span]:
    return [(stop.from_us, stop.to_us) for stop in data.stops if stop.planned]


def _unplanned_runs(data: TableData) -> list[Span]:
    return [
        (segment.from_us, segment.to_us)
        for run in data.runs
        if not run.steps_us
        for segment in run.segments
    ]
