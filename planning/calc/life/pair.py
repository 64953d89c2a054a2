"""Electrode and nozzle: each changed by itself, or both whenever one is.

A pair ends when either does: S(t) = S_electrode(t) x S_nozzle(t), as if neither wore the other.
Both ways are costed at their own best ages (`replacement.py`).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from planning.calc.life.costs import LEVEL, ChangeCosts
from planning.calc.life.pays import AGES, DRAWS, FARTHEST, SURE, change_age, drawn
from planning.calc.life.posterior import Posterior
from planning.calc.life.records import Floats
from planning.calc.life.replacement import of_survival
from planning.calc.life.weibull import LEAST_ENDS


@dataclass(frozen=True, slots=True)
class Side:
    lives: Posterior
    costs: ChangeCosts


@dataclass(frozen=True, slots=True)
class Pair:
    """Minor units a start, each way; `age` of the pair: change both at (None: when one ends).
    `dearer`: the pair's cost less the other's, with 90 % of it; `sure`: whether four in five say
    the same."""

    apart: float
    together: float
    age: float | None
    dearer_low: float
    dearer_high: float
    sure: bool

    @property
    def dearer(self) -> float:
        return self.together - self.apart


def pair_or_apart(one: Side, other: Side, *, seed: int = 0) -> Pair | None:
    """None: fewer than 3 of either have ended. A failure of the pair costs what one of either's
    does, less the partner, which is paid for whole; a planned change of both takes the time of
    one."""
    if min(one.lives.ends, other.lives.ends) < LEAST_ENDS:
        return None
    sides = (one, other)
    alone = [change_age(side.lives, side.costs.ahead, side.costs.failed) for side in sides]
    far = FARTHEST * min(side.lives.mean for side in sides)
    ages = np.concatenate([[0.0], np.geomspace(far / 5000, far, AGES)])
    still = one.lives.survival(ages) * other.lives.survival(ages)
    both = of_survival(
        lambda at: np.interp(at, ages, still), far, *_pair_costs(sides, [0.0, 0.0], [0.0, 0.0])
    )
    apart = sum(found.cost for found in alone)
    drawn_dearer = _drawn(sides, [found.age for found in alone], both.age, seed)
    low, high = np.quantile(drawn_dearer, [(1 - LEVEL) / 2, (1 + LEVEL) / 2])
    share = float((drawn_dearer > 0).mean())
    return Pair(apart, both.cost, both.age, float(low), float(high), max(share, 1 - share) >= SURE)


def _pair_costs(
    sides: tuple[Side, Side], off_planned: list[float], off_failed: list[float]
) -> tuple[float, float]:
    """Planned and failed; `off_*`: how far each side's extra lies from its mean."""
    price = sum(side.costs.price for side in sides)
    planned = max(s.costs.planned.total + off for s, off in zip(sides, off_planned, strict=True))
    ends = [1 / side.lives.mean for side in sides]  # who fails more often weighs more
    failed = sum(
        weight * max(0.0, side.costs.failure.total - side.costs.failure.mate + off)
        for weight, side, off in zip(ends, sides, off_failed, strict=True)
    ) / sum(ends)
    return price + planned, price + failed


def _drawn(
    sides: tuple[Side, Side], alone: list[float | None], both: float | None, seed: int
) -> Floats:
    """How much dearer the pair is, in so many worlds."""
    random = np.random.default_rng(seed)
    cells = [random.choice(len(s.lives.weight), DRAWS, p=s.lives.weight) for s in sides]
    planned = [drawn(random, side.costs.planned, DRAWS) for side in sides]
    failed = [drawn(random, side.costs.failure, DRAWS) for side in sides]
    found = np.empty(DRAWS)
    for n in range(DRAWS):
        lives = [
            (float(s.lives.shape[c[n]]), float(s.lives.scale[c[n]]))
            for s, c in zip(sides, cells, strict=True)
        ]
        apart = sum(
            _rate([life], at, side.costs.price + float(p[n]), side.costs.price + float(f[n]))
            for life, at, side, p, f in zip(lives, alone, sides, planned, failed, strict=True)
        )
        off_planned = [
            float(p[n]) - s.costs.planned.total for s, p in zip(sides, planned, strict=True)
        ]
        off_failed = [
            float(f[n]) - s.costs.failure.total for s, f in zip(sides, failed, strict=True)
        ]
        found[n] = _rate(lives, both, *_pair_costs(sides, off_planned, off_failed)) - apart
    return found


def _rate(
    lives: list[tuple[float, float]], age: float | None, planned: float, failed: float
) -> float:
    """Cost a start of what ends when the first of these lives does, or at `age`."""
    far = age or FARTHEST * min(scale for _shape, scale in lives)
    ages = np.concatenate([[0.0], np.geomspace(far / 2000, far, 160)])
    still = np.exp(-sum((ages / scale) ** shape for shape, scale in lives))
    given = float(np.trapezoid(still, ages))
    last = float(still[-1]) if age else 0.0
    return (planned * last + failed * (1 - last)) / given
