"""A run by shift date and set."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from planning.calc.entered import split_entered
from planning.calc.spans import length
from planning.calc.spent import unheard
from planning.inputs.shifts import ShiftBook
from planning.inputs.types import RunIn
from planning.services.entered_runs import entries_within
from planning.services.run_types import DayFigures


def run_days(run: RunIn, shifts: ShiftBook) -> list[DayFigures]:
    """The run by shift date and set. Time over a shift's border is split there; an arc is counted,
    with its cut, where it began. Time in a stoppage counts for the set before it."""
    if not run.segments:
        return []
    sets = {segment.pk: segment.wear_set_id for segment in run.segments}
    first = (run.shift_date, run.segments[0].wear_set_id)
    sums: dict[tuple[date, int], _Sums] = defaultdict(_Sums)
    sums[first] = _Sums()
    lengths = {contour.number: contour.cut_mm for contour in run.contours}
    for arc in run.arcs:
        wear_set = sets[arc.segment_id]
        row = sums[shifts.date_of(arc.on_us), wear_set]
        row.arcs += 1
        for day, us in shifts.by_date((arc.on_us, arc.off_us)):
            sums[day, wear_set].arc_us += us
        row.cut_mm += lengths.pop(arc.contour, 0.0) if arc.contour is not None else 0.0
    if not any(row.cut_mm for row in sums.values()):
        _planned_cut(run, list(sums.values()))
    for start, end in run.windows:
        for day, us in shifts.by_date((start, end)):
            sums[day, _set_at(run, start)].elapsed_us += us
    _unheard(run, shifts, sums)
    planned = run.plan.cut_us + run.plan.pierce_us if run.plan else None
    return [
        DayFigures(
            day, wear_set, row.arcs, row.arc_us, row.elapsed_us,
            planned if (day, wear_set) == first else None, row.cut_mm,
            row.entered_us, row.entered_arc_us, row.unknown_us,
        )
        for (day, wear_set), row in sorted(sums.items(), key=lambda item: item[0])
    ]  # fmt: skip


@dataclass(slots=True)
class _Sums:
    arcs: int = 0
    arc_us: int = 0
    elapsed_us: int = 0
    cut_mm: float = 0.0
    entered_us: int = 0
    entered_arc_us: int = 0
    unknown_us: int = 0


def _set_at(run: RunIn, at_us: int) -> int:
    before = [segment for segment in run.segments if segment.from_us <= at_us]
    return (before[-1] if before else run.segments[0]).wear_set_id


def _unheard(run: RunIn, shifts: ShiftBook, sums: dict[tuple[date, int], _Sums]) -> None:
    """Time in which the source was silent: as entered, spread evenly over it, else unknown."""
    if not run.measured:
        return
    burns = [(arc.on_us, arc.off_us) for arc in run.arcs]
    stops = [(stop.from_us, stop.to_us) for stop in run.stoppages]
    unknown, entered = split_entered(
        unheard(run.windows, burns, stops, run.silences), entries_within(run)
    )
    for start, end in unknown:
        for day, us in shifts.by_date((start, end)):
            sums[day, _set_at(run, start)].unknown_us += us
    for covered, burnt_us in entered:
        whole = length(covered)
        done = 0
        for start, end in covered:
            for day, us in shifts.by_date((start, end)):
                row = sums[day, _set_at(run, start)]
                row.entered_us += us
                before, done = done, done + us
                row.entered_arc_us += burnt_us * done // whole - burnt_us * before // whole


def _planned_cut(run: RunIn, rows: Sequence[_Sums]) -> None:
    """No contour is known: the plan's length, by arc time."""
    whole = run.plan_fields.get("cut_mm") or 0.0
    arc_us = sum(row.arc_us for row in rows)
    for place, row in enumerate(rows):
        row.cut_mm = whole * row.arc_us / arc_us if arc_us else (whole if place == 0 else 0.0)
