"""How far a table is ahead of its plan, through a shift."""

from __future__ import annotations

from collections.abc import Sequence

from planning.calc.spans import Span, intersect, length, union
from planning.reports.today_data import TableData
from shopfloor.selectors.arcs import to_us
from shopfloor.strip import model as strip

S = 1_000_000
MOST_PACE = 60
GOING = ("open", "stopped")


def pace(data: TableData, start_us: int, closed: Sequence[Span] = ()) -> list[strip.Pace]:
    """Minutes ahead of plan: planned work done in the window less the time it had, planned
    stoppages and time outside every shift (`closed`) apart. Only where the runs' contours are
    known; loading counts with the first. A run that is over and had no plan is neither work nor
    time; none at all (pace unknown) while such a run is open, or where no planned contour was
    seen burnt."""
    if any(run.state in GOING and not run.steps_us for run in data.runs):
        return []
    off: list[Span] = union([*closed, *_planned_stops(data), *_unplanned_runs(data)])
    by_segment = {segment.pk: run for run in data.runs for segment in run.segments}
    done, reached = 0, {run.run_id: 0 for run in data.runs}
    points = [strip.Pace(start_us, 0.0)]
    for arc in data.arcs:
        run = by_segment.get(arc.segment_id or -1)
        if run is None or arc.contour is None or not 0 < arc.contour <= len(run.steps_us):
            continue
        before = reached[run.run_id]
        if arc.contour <= before:
            continue
        if before == 0 and to_us(run.opened_at) >= start_us:
            done += run.load_us
        elif before == 0:
            before = arc.contour - 1
        done += sum(run.steps_us[before : arc.contour])
        reached[run.run_id] = arc.contour
        if arc.off_us > start_us:
            lost = length(intersect([(start_us, arc.off_us)], off))
            ahead = (done - (arc.off_us - start_us - lost)) / S / 60
            points.append(strip.Pace(arc.off_us, ahead))
    if len(points) == 1:
        return []
    every = max(1, len(points) // MOST_PACE)
    return points[::every] + ([points[-1]] if (len(points) - 1) % every else [])


def _planned_stops(data: TableData) -> list[Span]:
    return [(stop.from_us, stop.to_us) for stop in data.stops if stop.planned]


def _unplanned_runs(data: TableData) -> list[Span]:
    return [
        (segment.from_us, segment.to_us)
        for run in data.runs
        if not run.steps_us
        for segment in run.segments
    ]
