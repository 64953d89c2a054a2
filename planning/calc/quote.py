"""A price that holds with a chosen chance, and how it fared."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from statistics import NormalDist, fmean, stdev
from typing import Any

from planning.calc.factors import Fit, NotEnoughData
from planning.calc.said import said

NEEDED = 5  # our assumption: fewer runs of a cell say too little of its spread
SURE = 1.96  # of the binomial error: beyond it the promise was not kept (19 times in 20)


@dataclass(frozen=True, slots=True)
class Spread:
    """mu, sigma and the error se of mu of ln(actual / plan), from `n` runs; `pooled` says that
    they are the whole shop's, because the cell's own were too few (`own` of them)."""

    mu: float
    sigma: float
    se: float
    n: int
    pooled: bool
    own: int

    @property
    def words(self) -> str:
        if not self.pooled:
            return said("{n} runs of its own", n=self.n)
        few = NotEnoughData(self.own, NEEDED).words
        return said(
            "{few}: the whole shop's {n} runs, wider by how its work differs", few=few, n=self.n
        )


def own_spread(logs: Sequence[float]) -> Spread | NotEnoughData:
    """Of a set, material and thickness alone: mean, standard deviation and sigma / sqrt(n)."""
    count = len(logs)
    if count < NEEDED:
        return NotEnoughData(count, NEEDED)
    sigma = stdev(logs)
    return Spread(fmean(logs), sigma, sigma / math.sqrt(count), count, False, count)


def pooled_spread(shop: Fit[Any], own: int) -> Spread:
    """Of work the shop has hardly done: a run differs from the shop's mean by what runs of a cell
    differ and by what cells do, so its sigma holds both."""
    mu, sigma, se = shop.unseen()
    return Spread(mu, sigma, se, shop.n, True, own)


def allowed(plan_minor: float, spread: Spread, chance: float) -> float:
    """What to reckon with so that the actual exceeds it with `chance` (0.02 to 0.5):
    plan x exp(mu + z sqrt(sigma^2 + se^2)), z the normal's quantile of 1 - chance (0.8416 at
    0.2). Takes ln(actual / plan) as normal; with few runs the chance is a little above."""
    if not 0.02 <= chance <= 0.5:
        raise ValueError(said("a chance of {chance:g} is not between 0.02 and 0.5", chance=chance))
    z = NormalDist().inv_cdf(1 - chance)
    return plan_minor * math.exp(spread.mu + z * math.hypot(spread.sigma, spread.se))


@dataclass(frozen=True, slots=True)
class Score:
    """Overruns of `n` quotes against the chance promised for them; `error` is the binomial
    standard error of the share. `kept` is None below `NEEDED` quotes."""

    overruns: int
    n: int
    promised: float
    error: float

    @property
    def share(self) -> float:
        return self.overruns / self.n

    @property
    def as_promised(self) -> bool | None:
        if self.n < NEEDED:
            return None
        return abs(self.share - self.promised) <= SURE * self.error


def score(quotes: Sequence[tuple[float, bool]]) -> Score | None:
    """`quotes` are (chance promised, whether the actual exceeded it); None where there are none.
    With several chances the promise is their mean, and the error that of their sum."""
    if not quotes:
        return None
    count = len(quotes)
    error = math.sqrt(math.fsum(p * (1 - p) for p, _ in quotes)) / count
    promised = math.fsum(p for p, _ in quotes) / count
    return Score(sum(over for _, over in quotes), count, promised, error)


@dataclass(frozen=True, slots=True)
class Split:
    """Where the difference in material came from; the two sum to it exactly."""

    price: float
    usage: float


def material_split(
    quoted_price: float, quoted_amount: float, actual_price: float, actual_amount: float
) -> Split:
    """Price variance (actual price - quoted price) x actual amount, usage variance (actual amount
    - quoted amount) x quoted price: standard costing's two."""
    return Split(
        (actual_price - quoted_price) * actual_amount,
        (actual_amount - quoted_amount) * quoted_price,
    )
