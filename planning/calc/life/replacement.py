"""Age replacement: change at an age or at the end, whichever comes first.

Cost for each start C(T) = (planned S(T) + failed (1 - S(T))) / integral of S from 0 to T. Barlow &
Proschan, Mathematical Theory of Reliability, 1965, ch. 4. Over a cloud of lives both parts are
averaged before they are divided: the change age is chosen once for all pieces.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from scipy.optimize import minimize_scalar
from scipy.special import gammainc

from planning.calc.life.posterior import Posterior
from planning.calc.life.records import Floats
from planning.calc.life.weibull import Weibull
from planning.calc.said import said

FARTHEST = 6.0  # mean lives: who waits so long waits for the end
NEVER = 0.001  # gains smaller than this part of the cost are none
FLAT = 0.03  # ages whose cost lies within this of the least are as good


@dataclass(frozen=True, slots=True)
class ChangeAge:
    """`age` None: a planned change never pays. Costs are for each start; `low` to `high` are ages
    within 3 % of the least cost."""

    age: float | None
    cost: float
    to_the_end: float
    low: float = 0.0
    high: float = math.inf


def of_weibull(life: Weibull, planned: float, failed: float) -> ChangeAge:
    """For one Weibull life. Raises ValueError for costs that are not above 0."""

    def parts(age: float) -> tuple[float, float]:
        reach = (age / life.scale) ** life.shape
        gone = gammainc(1 / life.shape, reach)
        return math.exp(-reach), life.mean * float(gone)

    return _best(parts, life.mean, planned, failed)


def of_posterior(lives: Posterior, planned: float, failed: float) -> ChangeAge:
    """Over the whole cloud."""
    means = lives.means

    def parts(age: float) -> tuple[float, float]:
        reach = (age / lives.scale) ** lives.shape
        gone = gammainc(1 / lives.shape, reach)
        return float(lives.weight @ np.exp(-reach)), float(lives.weight @ (means * gone))

    return _best(parts, lives.mean, planned, failed)


def of_survival(
    survival: Callable[[Floats], Floats], farthest: float, planned: float, failed: float
) -> ChangeAge:
    """For any survival function that is 0 from `farthest` on."""
    ages = np.linspace(0, farthest, 20_001)
    still = survival(ages)
    step = ages[1] - ages[0]
    so_far = np.concatenate([[0.0], np.cumsum((still[1:] + still[:-1]) / 2 * step)])

    def parts(age: float) -> tuple[float, float]:
        return float(np.interp(age, ages, still)), float(np.interp(age, ages, so_far))

    return _best(parts, float(so_far[-1]), planned, failed, farthest)


def _best(
    parts: Callable[[float], tuple[float, float]],
    mean: float,
    planned: float,
    failed: float,
    farthest: float | None = None,
) -> ChangeAge:
    if not (planned > 0 and failed > 0):
        raise ValueError(said("a change costs something, planned or not"))
    to_the_end = failed / mean
    if failed <= planned:
        return ChangeAge(None, to_the_end, to_the_end)

    def cost(age: float) -> float:
        still, given = parts(age)
        return (planned * still + failed * (1 - still)) / given

    ages = np.geomspace(mean / 200, farthest or FARTHEST * mean, 160)
    costs = np.array([cost(float(age)) for age in ages])
    at = int(costs.argmin())
    if at == len(ages) - 1 or costs[at] > to_the_end * (1 - NEVER):
        return ChangeAge(None, to_the_end, to_the_end)
    around = (float(ages[max(0, at - 1)]), float(ages[at + 1]))
    found = minimize_scalar(cost, bounds=around, method="bounded", options={"xatol": 1e-9 * mean})
    good = ages[costs <= float(found.fun) * (1 + FLAT)]
    low, high = (float(good[0]), float(good[-1])) if len(good) else around
    return ChangeAge(float(found.x), float(found.fun), to_the_end, low, high)
