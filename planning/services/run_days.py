"""A run by shift date and set."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date

from planning.inputs.shifts import ShiftBook
from planning.inputs.types import RunIn
from planning.services.run_types import DayFigures


def run_days(run: RunIn, shifts: ShiftBook) -> list[DayFigures]:
    """The run by shift date and set. Time over a shift's border is split there; an arc is counted,
    with its cut, where it began. Time in a stoppage counts for the set before it."""
    if not run.segments:
        return []
    sets = {segment.pk: segment.wear_set_id for segment in run.segments}
    first = (run.shift_date, run.segments[0].wear_set_id)
    sums: dict[tuple[date, int], list[float]] = {first: [0, 0, 0, 0.0]}
    lengths = {contour.number: contour.cut_mm for contour in run.contours}
    for arc in run.arcs:
        wear_set = sets[arc.segment_id]
        row = sums.setdefault((shifts.date_of(arc.on_us), wear_set), [0, 0, 0, 0.0])
        row[0] += 1
        for day, us in shifts.by_date((arc.on_us, arc.off_us)):
            sums.setdefault((day, wear_set), [0, 0, 0, 0.0])[1] += us
        row[3] += lengths.pop(arc.contour, 0.0) if arc.contour is not None else 0.0
    if not any(row[3] for row in sums.values()):
        _planned_cut(run, list(sums.values()))
    for start, end in run.windows:
        before = [segment for segment in run.segments if segment.from_us <= start]
        wear_set = (before[-1] if before else run.segments[0]).wear_set_id
        for day, us in shifts.by_date((start, end)):
            sums.setdefault((day, wear_set), [0, 0, 0, 0.0])[2] += us
    planned = run.plan.cut_us + run.plan.pierce_us if run.plan else None
    return [
        DayFigures(day, wear_set, int(arcs), int(arc_us), int(elapsed), None, cut_mm)
        if (day, wear_set) != first
        else DayFigures(day, wear_set, int(arcs), int(arc_us), int(elapsed), planned, cut_mm)
        for (day, wear_set), (arcs, arc_us, elapsed, cut_mm) in sorted(sums.items())
    ]


def _planned_cut(run: RunIn, rows: Sequence[list[float]]) -> None:
    """No contour is known: the plan's length, by arc time."""
    whole = run.plan_fields.get("cut_mm") or 0.0
    arc_us = sum(row[1] for row in rows)
    for place, row in enumerate(rows):
        row[3] = whole * row[1] / arc_us if arc_us else (whole if place == 0 else 0.0)
