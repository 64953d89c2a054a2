"""A run's figures from its inputs: variance, days, amounts. Numbers in and out, no writing."""

from __future__ import annotations

from planning.calc import allocation as a
from planning.calc.cost import RateBook
from planning.calc.variance import Variance, entered_variance, run_variance
from planning.inputs.shifts import ShiftBook
from planning.inputs.types import RunIn
from planning.services.entered_runs import entries_within
from planning.services.run_amounts import (
    RunCosts,
    crash_line_of,
    crash_us_of,
    gas_and_energy,
    material,
    spoilt,
)
from planning.services.run_days import run_days
from planning.services.run_types import FINISHED, Rules, RunFigures


def compute_run(
    run: RunIn, *, rates: RateBook, shifts: ShiftBook, rules: Rules, attended_us: int
) -> RunFigures:
    """All figures of one run. Amounts only once it is finished; before, what it cost is open."""
    finished = run.state == FINISHED
    variance = _variance(run, finished)
    uses, split = contour_uses(run)
    time, area = a.time_weights(uses), a.area_weights(uses)
    if set(area) == {None}:
        area = time
    crash_line = crash_line_of(run)
    book = RunCosts(run, rates, time, split)
    if finished:
        crash_us = crash_us_of(run)
        book.by_time("machine", variance.elapsed_us - crash_us, run.evidence)
        book.by_time("labour", attended_us, "entered")
        gas_and_energy(book, run)
        material(book, run, rules, area)
        if crash_us:
            book.crash(crash_us, crash_line)
        spoilt(book, run)
    return RunFigures(
        variance=variance,
        minor_per_hour=book.minor_per_hour(),
        amounts=book.amounts,
        days=tuple(run_days(run, shifts)),
        wear=a.wear_weights(uses),
        split=split,
        crash_line=crash_line,
        unknown=tuple(book.unknown),
    )


def _variance(run: RunIn, finished: bool) -> Variance:
    stops = [(stop.from_us, stop.to_us) for stop in run.stoppages]
    plan = run.plan if finished else None
    if not run.measured:
        return entered_variance(run.windows, stops, plan)
    burns = [arc.burn for arc in run.arcs]
    return run_variance(
        run.windows,
        burns,
        stops,
        run.silences,
        plan,
        pierces_known=run.pierces_known,
        entries=entries_within(run),
    )


def contour_uses(run: RunIn) -> tuple[list[a.ContourUse], str]:
    """What each contour took, and on what evidence: its own arcs where they are known, else its
    share of the plan. A contour's area counts once, however often it was burnt."""
    by_number = {contour.number: contour for contour in run.contours}
    known = [arc for arc in run.arcs if arc.contour in by_number]
    seen: set[int] = set()
    uses = []
    for arc in known:
        contour = by_number[arc.contour or 0]
        area = None if contour.number in seen else contour.net_area_mm2
        seen.add(contour.number)
        uses.append(a.ContourUse(contour.line_id, arc.us, 1, area, contour.common))
    if uses:
        return uses, "measured"
    planned = (run.plan.arc_by_contour_us if run.plan else None) or {}
    for contour in run.contours:
        if planned and contour.number not in planned:
            continue
        weight = planned.get(contour.number, round(contour.cut_mm * 1000))
        uses.append(
            a.ContourUse(
                contour.line_id, weight, contour.pierces, contour.net_area_mm2, contour.common
            )
        )
    return uses, "planned"
