"""What a table's pauses at each contour really are, from its own arcs: settling with the torch
burning, touch-off and lift with it out.

An arc takes `settling + k x the rest of its plan`, with one k a run (its chart speed may be off),
so settling is what does not grow with the contour: least squares of seconds within runs, each
weighted by `1 / (plan + READING_S)^2`, outliers left out once. The range is Student's t about
errors clustered by run (Liang and Zeger 1986). Between two contours the torch touches off, lifts
and travels; travel is planned, the median of the rest is each run's, and the mean of runs the
table's. Our assumptions are the named constants.

Not valid where corners are timed wrongly: an acceleration set too high also looks like a pause. So
nothing is believed that does not make the plan better on runs it was not learned from (`replay`).
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from statistics import fmean, median
from typing import Final

import numpy as np
import numpy.typing as npt

from planning.calc.student import student_t

LEAST_RUNS: Final = 8  # fewer say too little of how runs differ
LEAST_EACH: Final = 5  # arcs, or gaps, of a run
READING_S: Final = 2.0  # an arc's time errs by its length and by this, in the same measure
FAR: Final = 4.0  # standard deviations, from the median absolute deviation
WAITED: Final = 3.0  # a gap of so many times its run's usual one, and a little: a wait
LITTLE_S: Final = 5.0
LEARNED: Final = 0.6  # of the runs, the older ones, where the others try what was learned
MATTERS_S: Final = 0.05
LEVEL: Final = 0.9
_MAD: Final = 1.4826

Floats = npt.NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Burnt:
    """One contour's arc: seconds as planned without settling, and as heard."""

    bare_s: float
    seen_s: float


@dataclass(frozen=True, slots=True)
class Gap:
    """From one contour's arc to the next one's: seconds of travel as planned, and all as heard."""

    travel_s: float
    seen_s: float


@dataclass(frozen=True, slots=True)
class CutRun:
    """A run's arcs and gaps. ``pause_s``: touch-off and lift that its plan counted a contour."""

    arcs: tuple[Burnt, ...]
    gaps: tuple[Gap, ...]
    pause_s: float


@dataclass(frozen=True, slots=True)
class Pause:
    """Seconds a contour with their 90 % range, from ``n`` arcs or gaps of ``runs`` runs."""

    value: float
    low: float
    high: float
    n: int
    runs: int

    def other_than(self, now_s: float) -> bool:
        return not self.low <= now_s <= self.high and abs(self.value - now_s) >= MATTERS_S


@dataclass(frozen=True, slots=True)
class Replayed:
    """Median of |seen / planned - 1| over runs it was not learned from, by the figures that stand
    and by those learned; None: too few."""

    runs: int
    before: float
    after: float


def settling(runs: Iterable[CutRun]) -> Pause | None:
    """None: too few runs, or their contours are too alike."""
    bare, seen, group = _columns(run.arcs for run in runs)
    keep = np.ones(len(bare), dtype=bool)
    for _once in range(2):
        if len(np.unique(group[keep])) < LEAST_RUNS:
            return None
        found = _slope(bare[keep], seen[keep], group[keep])
        if found is None:
            return None
        value, half, residuals = found
        off = np.abs(residuals - np.median(residuals))
        near = off <= FAR * _MAD * np.median(off)
        if near.all():
            break
        keep[np.flatnonzero(keep)[~near]] = False
    count = len(np.unique(group[keep]))
    return Pause(value, value - half, value + half, int(keep.sum()), count)


def _columns(arcs: Iterable[Sequence[Burnt]]) -> tuple[Floats, Floats, Floats]:
    rows = [
        (arc.bare_s, arc.seen_s, float(at))
        for at, own in enumerate(arcs)
        if len(own) >= LEAST_EACH
        for arc in own
        if arc.bare_s > 0
    ]
    found = np.array(rows, dtype=np.float64).reshape(-1, 3)
    return found[:, 0], found[:, 1], found[:, 2]


def _slope(
    bare: Floats,
    seen: Floats,
    group: Floats,
) -> tuple[float, float, Floats] | None:
    """Seconds that every arc takes beside k times its plan, half of their range, and weighted
    residuals. With weights w of residuals: w seen = w settling + k w bare, k of each run."""
    weight = 1 / (bare + READING_S)
    places = np.unique(group, return_inverse=True)[1]
    one, planned, heard = weight, weight * bare, weight * seen
    within = np.bincount(places, planned * planned)

    def beside(values: Floats) -> Floats:
        return np.asarray(
            values - planned * (np.bincount(places, planned * values) / within)[places]
        )

    one, heard = beside(one), beside(heard)
    spread = float(one @ one)
    if spread < 1e-3 * float(weight @ weight):
        return None  # contours all alike: a pause and a slow speed look the same
    value = float(one @ heard) / spread
    residuals = heard - value * one
    runs = len(within)
    error = float(np.sqrt(np.sum(np.bincount(places, one * residuals) ** 2) * runs / (runs - 1)))
    return value, student_t((1 + LEVEL) / 2, runs - 1) * error / spread, residuals


def pausing(runs: Iterable[CutRun]) -> Pause | None:
    """Touch-off and lift together, a contour; None: too few runs."""
    medians, count = [], 0
    for run in runs:
        if len(run.gaps) >= LEAST_EACH:
            medians.append(median(gap.seen_s - gap.travel_s for gap in run.gaps))
            count += len(run.gaps)
    if len(medians) < LEAST_RUNS:
        return None
    value = fmean(medians)
    error = float(np.std(medians, ddof=1)) / len(medians) ** 0.5
    half = student_t((1 + LEVEL) / 2, len(medians) - 1) * error
    return Pause(value, value - half, value + half, count, len(medians))


@dataclass(frozen=True, slots=True)
class Learned:
    """What runs say of a table. ``settle`` and ``pause`` are None where they do not tell, or tell
    nothing other than what stands; ``replayed`` tries both on the newest runs alone."""

    settle: Pause | None
    pause: Pause | None
    replayed: Replayed | None

    @property
    def better(self) -> bool:
        """Whether it may be proposed at all."""
        return self.replayed is not None and self.replayed.after < self.replayed.before


def learned(runs: Sequence[CutRun], settle_s: float, pause_s: float | None) -> Learned:
    """``runs`` oldest first; what the table counts now, ``pause_s`` None: each run's own chart."""
    settle, pause = settling(runs), pausing(runs)
    if settle is not None and not settle.other_than(settle_s):
        settle = None
    usual = pause_s if pause_s is not None else fmean(run.pause_s for run in runs) if runs else 0.0
    if pause is not None and not pause.other_than(usual):
        pause = None
    return Learned(settle, pause, _replay(runs, settle_s, pause_s, settle, pause))


def _replay(
    runs: Sequence[CutRun], settle_s: float, pause_s: float | None,
    settle: Pause | None, pause: Pause | None,
) -> Replayed | None:  # fmt: skip
    """What would be proposed, learned from the older runs, tried on the newer ones."""
    if settle is None and pause is None:
        return None
    border = round(len(runs) * LEARNED)
    older, newer = runs[:border], [run for run in runs[border:] if run.arcs and run.gaps]
    own_settle = settling(older) if settle is not None else None
    own_pause = pausing(older) if pause is not None else None
    told = (settle is None or own_settle, pause is None or own_pause)
    if not all(told) or len(newer) < LEAST_EACH:
        return None
    settle_then = settle_s if own_settle is None else max(0.0, own_settle.value)

    def pause_then(run: CutRun) -> float:
        stands = run.pause_s if pause_s is None else pause_s
        return stands if own_pause is None else max(0.0, own_pause.value)

    before = _off(newer, settle_s, lambda run: run.pause_s if pause_s is None else pause_s)
    return Replayed(len(newer), before, _off(newer, settle_then, pause_then))


def _off(runs: Sequence[CutRun], settle_s: float, pause: Callable[[CutRun], float]) -> float:
    errors = []
    for run in runs:
        gaps = _without_waits(run.gaps)
        planned = sum(arc.bare_s + settle_s for arc in run.arcs)
        planned += sum(gap.travel_s + pause(run) for gap in gaps)
        seen = sum(arc.seen_s for arc in run.arcs) + sum(gap.seen_s for gap in gaps)
        errors.append(abs(seen / planned - 1))
    return median(errors)


def _without_waits(gaps: Sequence[Gap]) -> list[Gap]:
    """A wait has its own reason and says nothing of the plan."""
    usual = median(gap.seen_s - gap.travel_s for gap in gaps)
    return [gap for gap in gaps if gap.seen_s - gap.travel_s <= WAITED * max(0.0, usual) + LITTLE_S]
