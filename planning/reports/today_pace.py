"""How far a table is ahead of its plan, through a shift."""

from __future__ import annotations

import uuid
from collections.abc import Sequence
from dataclasses import dataclass

from planning.calc.spans import Span, shared_us, union
from planning.reports.today_data import TableData
from shopfloor.runs.arcs import to_us
from shopfloor.svg.strip import types as strip

S = 1_000_000
MOST_PACE = 60
GOING = ("open", "stopped")


@dataclass(frozen=True, slots=True)
class PacePoint:
    """What was done of each run's plan, and of all plans at the end of each planned arc
    (`steps`: when, us of plan), the first at the window's start. `off` is time that was no plan's.
    """

    start_us: int
    steps: tuple[tuple[int, int], ...]
    done_us: dict[uuid.UUID, int]
    off: tuple[Span, ...]

    @property
    def until_us(self) -> int:
        return self.steps[-1][0]

    def lost_us(self, until_us: int) -> int:
        return shared_us((self.start_us, until_us), self.off) if until_us > self.start_us else 0

    def at(self, step: tuple[int, int]) -> strip.Pace:
        """How far it was ahead then."""
        until_us, done_us = step
        there_us = until_us - self.start_us - self.lost_us(until_us)
        return strip.Pace(until_us, (done_us - there_us) / S / 60)


def pace(data: TableData, start_us: int, closed: Sequence[Span] = ()) -> list[strip.Pace]:
    """`paced` as it is drawn: not every point, but the last one always."""
    found = paced(data, start_us, closed)
    if found is None:
        return []
    steps = list(found.steps)
    every = max(1, len(steps) // MOST_PACE)
    drawn = steps[::every] + ([steps[-1]] if (len(steps) - 1) % every else [])
    return [found.at(step) for step in drawn]


def paced(data: TableData, start_us: int, closed: Sequence[Span] = ()) -> PacePoint | None:
    """Minutes ahead of plan: planned work done in the window less the time it had, planned
    stoppages and time outside every shift (`closed`) apart. Only where the runs' contours are
    known; loading counts with the first. A run that is over and had no plan is neither work nor
    time; None at all (pace unknown) while such a run is open, or where no planned contour was
    seen burnt."""
    if any(run.state in GOING and not run.steps_us for run in data.runs):
        return None
    off: list[Span] = union([*closed, *_planned_stops(data), *_unplanned_runs(data)])
    by_segment = {seg.pk: place for place, run in enumerate(data.runs) for seg in run.segments}
    done: dict[int, int] = {}  # by the run's place
    reached = [0] * len(data.runs)
    steps = [(start_us, 0)]
    all_done = 0
    for arc in data.arcs:
        if arc.contour is None or arc.segment_id not in by_segment:
            continue
        place = by_segment[arc.segment_id]
        run, before = data.runs[place], reached[place]
        if not before < arc.contour <= len(run.steps_us):
            continue
        step = 0
        if before == 0 and to_us(run.opened_at) >= start_us:
            step = run.load_us
        elif before == 0:
            before = arc.contour - 1
        step += sum(run.steps_us[before : arc.contour])
        done[place] = done.get(place, 0) + step
        all_done += step
        reached[place] = arc.contour
        if arc.off_us > start_us:
            steps.append((arc.off_us, all_done))
    if len(steps) == 1:
        return None
    by_run = {data.runs[place].run_id: us for place, us in done.items()}
    return PacePoint(start_us, tuple(steps), by_run, tuple(off))


def _planned_stops(data: TableData) -> list[Span]:
    return [(stop.from_us, stop.to_us) for stop in data.stops if stop.planned]


def _unplanned_runs(data: TableData) -> list[Span]:
    return [
        (segment.from_us, segment.to_us)
        for run in data.runs
        if not run.steps_us
        for segment in run.segments
    ]
