"""Which piece each of a run's starts was burnt with."""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Iterable
from dataclasses import dataclass, replace
from itertools import accumulate

from planning.calc import allocation as a
from planning.inputs.pieces import FittingIn
from planning.inputs.types import ArcIn, RunIn
from planning.services.figuring import contour_uses
from planning.services.run_types import RunFigures


@dataclass(frozen=True, slots=True)
class Use:
    piece_id: int
    at_us: int
    starts: int
    arc_us: int
    weights: dict[int | None, float]
    evidence: str


def piece_uses(run: RunIn, figures: RunFigures, fittings: Iterable[FittingIn]) -> list[Use]:
    """A run's use of every piece that was in its torches. A run without arcs counts the starts of
    its plan, with whatever was fitted when its segments began."""
    fittings = [fit for fit in fittings if fit.table_id == run.table_id]
    found: dict[int, Use] = {}
    for use in _measured(run, figures, fittings) if run.arcs else _planned(run, figures, fittings):
        had = found.get(use.piece_id)
        if had is not None:  # taken out and put back within the run
            weights = dict(had.weights)
            for line, weight in use.weights.items():
                weights[line] = weights.get(line, 0.0) + weight
            use = replace(
                use,
                at_us=had.at_us,
                starts=had.starts + use.starts,
                arc_us=had.arc_us + use.arc_us,
                weights=weights,
            )
        found[use.piece_id] = use
    return list(found.values())


def _measured(run: RunIn, figures: RunFigures, fittings: list[FittingIn]) -> Iterable[Use]:
    torches: dict[str, list[ArcIn]] = {}
    for arc in run.arcs:
        torches.setdefault(arc.torch, []).append(arc)
    for torch, arcs in torches.items():
        on = [arc.on_us for arc in arcs]
        sums = [0, *accumulate(arc.us for arc in arcs)]
        for fit in fittings:
            if fit.torch != torch:
                continue
            first, last = bisect_left(on, fit.from_us), bisect_left(on, fit.to_us)
            if last <= first:
                continue
            whole = last - first == len(run.arcs)
            weights = figures.wear if whole else _weights(run, arcs[first:last], figures)
            yield Use(
                fit.piece_id, on[first], last - first, sums[last] - sums[first], weights, "measured"
            )


def _weights(run: RunIn, arcs: list[ArcIn], figures: RunFigures) -> dict[int | None, float]:
    uses, evidence = contour_uses(replace(run, arcs=tuple(arcs)))
    return a.wear_weights(uses) if evidence == "measured" else figures.wear


def _planned(run: RunIn, figures: RunFigures, fittings: list[FittingIn]) -> Iterable[Use]:
    if run.plan is None or not run.segments:
        return
    starts = int(run.plan_fields.get("pierces") or 0)
    arc_us = run.plan.cut_us + run.plan.pierce_us
    count = len(run.segments)
    for place, segment in enumerate(run.segments):
        own_starts = starts // count + (place < starts % count)
        for fit in fittings:
            if fit.torch == segment.torch and fit.holds(segment.from_us) and own_starts:
                yield Use(
                    fit.piece_id,
                    segment.from_us,
                    own_starts,
                    arc_us // count,
                    figures.wear,
                    "planned",
                )
