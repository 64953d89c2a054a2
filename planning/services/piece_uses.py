"""Which piece each of a run's starts was burnt with."""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Iterable
from dataclasses import dataclass, replace
from itertools import accumulate

from planning.calc import allocation as a
from planning.calc.spans import intersect, union
from planning.inputs.pieces import FittingIn
from planning.inputs.types import ArcIn, RunIn
from planning.services.entered_runs import entered_burning
from planning.services.figuring import contour_uses
from planning.services.run_types import RunFigures


@dataclass(frozen=True, slots=True)
class Use:
    """`known_starts` of the starts were heard or entered, the others are the plan's."""

    piece_id: int
    at_us: int
    starts: int
    arc_us: int
    weights: dict[int | None, float]
    evidence: str
    known_starts: int


def piece_uses(run: RunIn, figures: RunFigures, fittings: Iterable[FittingIn]) -> list[Use]:
    """A run's use of every piece that was in its torches: starts that were heard and those that
    were entered. Where no arc of a run was heard, a torch that was not entered whole either took at
    least its share of the plan, with whatever was fitted when its segments began."""
    fittings = [fit for fit in fittings if fit.table_id == run.table_id]
    whole = {torch for torch, entered in entered_burning(run).items() if entered.whole}
    uses: list[Use] = []
    for torch in sorted({fit.torch for fit in fittings}):
        own = [fit for fit in fittings if fit.torch == torch]
        uses += _of_torch(run, figures, own, planned=not run.arcs and torch not in whole)
    return list(_by_piece(uses).values())


def _of_torch(
    run: RunIn, figures: RunFigures, fittings: list[FittingIn], *, planned: bool
) -> Iterable[Use]:
    known = _by_piece([*_measured(run, figures, fittings), *_entered(run, figures, fittings)])
    if not planned:
        return known.values()
    for piece, planned_use in _by_piece(_planned(run, figures, fittings)).items():
        had = known.get(piece)
        if had is None:
            known[piece] = planned_use
        elif planned_use.starts > had.starts:
            arc_us = max(planned_use.arc_us, had.arc_us)
            known[piece] = replace(planned_use, arc_us=arc_us, known_starts=had.known_starts)
    return known.values()


def _by_piece(uses: Iterable[Use]) -> dict[int, Use]:
    """One use a piece: it may be taken out and put back within a run."""
    found: dict[int, Use] = {}
    for use in uses:
        had = found.get(use.piece_id)
        if had is None:
            found[use.piece_id] = use
            continue
        weights = dict(had.weights)
        for line, weight in use.weights.items():
            weights[line] = weights.get(line, 0.0) + weight
        found[use.piece_id] = replace(
            use,
            at_us=min(had.at_us, use.at_us),
            starts=had.starts + use.starts,
            arc_us=had.arc_us + use.arc_us,
            weights=weights,
            known_starts=had.known_starts + use.known_starts,
        )
    return found


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
            starts = last - first
            yield Use(
                fit.piece_id,
                on[first],
                starts,
                sums[last] - sums[first],
                weights,
                "measured",
                starts,
            )


def _entered(run: RunIn, figures: RunFigures, fittings: list[FittingIn]) -> Iterable[Use]:
    """Of what was entered the share within the run's time with the torch and the piece's stay."""
    for fit in fittings:
        entries = [entry for entry in run.entries if entry.torch == fit.torch]
        if not entries:
            continue
        own = [(seg.from_us, seg.to_us) for seg in run.segments if seg.torch == fit.torch]
        spans = intersect(union(own), [(fit.from_us, fit.to_us)])
        for entry in entries:
            starts, arc_us = entry.within(spans)
            if starts or arc_us:
                at_us = max(entry.span[0], spans[0][0])
                yield Use(fit.piece_id, at_us, starts, arc_us, figures.wear, "entered", starts)


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
                    0,
                )
