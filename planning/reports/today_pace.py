"""How far a table is ahead of its plan, through a shift."""

from __future__ import annotations

import uuid
from collections.abc import Sequence
from dataclasses import dataclass

from planning.calc.spans import Span, shared_us, union
from planning.reports.today_data import TableData
from shopfloor.selectors.arcs import to_us
from shopfloor.strip import model as strip

S = 1_000_000
MOST_PACE = 60
GOING = ("open", "stopped")


@dataclass(frozen=True, slots=True)
class Paced:
    """How far a table was ahead at the end of each planned arc, and of the last one: what was done
    of each run's plan, the time since the start, and how much of it was no plan's."""

    points: tuple[strip.Pace, ...]
    done_us: dict[uuid.UUID, int]
    until_us: int
    lost_us: int


def pace(data: TableData, start_us: int, closed: Sequence[Span] = ()) -> list[strip.Pace]:
    """`paced` as it is drawn: not every point, but the last one always."""
    found = paced(data, start_us, closed)
    if found is None:
        return []
    points = list(found.points)
    every = max(1, len(points) // MOST_PACE)
    return points[::every] + ([points[-1]] if (len(points) - 1) % every else [])


def paced(data: TableData, start_us: int, closed: Sequence[Span] = ()) -> Paced | None:
    """Minutes ahead of plan: planned work done in the window less the time it had, planned
    stoppages and time outside every shift (`closed`) apart. Only where the runs' contours are
    known; loading counts with the first. A run that is over and had no plan is neither work nor
    time; None at all (pace unknown) while such a run is open, or where no planned contour was
    seen burnt."""
    if any(run.state in GOING and not run.steps_us for run in data.runs):
        return None
    off: list[Span] = union([*closed, *_planned_stops(data), *_unplanned_runs(data)])
    by_segment = {segment.pk: run for run in data.runs for segment in run.segments}
    done: dict[uuid.UUID, int] = {}
    reached = {run.run_id: 0 for run in data.runs}
    points = [strip.Pace(start_us, 0.0)]
    until_us = lost = all_done = 0
    for arc in data.arcs:
        run = by_segment.get(arc.segment_id or -1)
        if run is None or arc.contour is None or not 0 < arc.contour <= len(run.steps_us):
            continue
        before = reached[run.run_id]
        if arc.contour <= before:
            continue
        step = 0
        if before == 0 and to_us(run.opened_at) >= start_us:
            step = run.load_us
        elif before == 0:
            before = arc.contour - 1
        step += sum(run.steps_us[before : arc.contour])
        done[run.run_id] = done.get(run.run_id, 0) + step
        all_done += step
        reached[run.run_id] = arc.contour
        if arc.off_us > start_us:
            until_us, lost = arc.off_us, shared_us((start_us, arc.off_us), off)
            ahead = (all_done - (until_us - start_us - lost)) / S / 60
            points.append(strip.Pace(until_us, ahead))
    return Paced(tuple(points), done, until_us, lost) if len(points) > 1 else None


def _planned_stops(data: TableData) -> list[Span]:
    return [(stop.from_us, stop.to_us) for stop in data.stops if stop.planned]


def _unplanned_runs(data: TableData) -> list[Span]:
    return [
        (segment.from_us, segment.to_us)
        for run in data.runs
        if not run.steps_us
        for segment in run.segments
    ]
