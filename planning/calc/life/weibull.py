"""Weibull life by maximum likelihood, with late entry and right censoring.

With d ends, S(k) = sum of age^k - entered^k: log-likelihood = d (ln k - k ln eta) + (k - 1) sum of
ln age - S(k) / eta^k; for a shape k the best scale is eta^k = S(k) / d. Ranges are by profile
likelihood against chi-square x (1 + 1/d): plain chi-square covers .63-.91 where it says .90, at 5
to 30 removals with 30 to 80 % censored; Wald less. No ranges from fewer than 3 ends.
Lawless, Statistical Models and Methods for Lifetime Data, 2003, 5.2; left truncation 2.4.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from scipy.optimize import brentq, minimize_scalar
from scipy.stats import chi2

from planning.calc.life.records import Arrays, Life, SeenTooShort, TooLittleData
from planning.calc.said import said

LEAST_ENDS = 3
SHAPES = (0.05, 60.0)
# A mean this many times the oldest age seen is a guess far outside of what was watched.
FARTHEST = 10.0


@dataclass(frozen=True, slots=True)
class Range:
    """`high` is infinite where the data set no upper end."""

    low: float
    high: float


@dataclass(frozen=True, slots=True)
class Weibull:
    """S(t) = exp(-(t / scale)^shape)."""

    shape: float
    scale: float

    @property
    def mean(self) -> float:
        return self.scale * math.gamma(1 + 1 / self.shape)

    @property
    def spread(self) -> float:
        """Standard deviation."""
        second = math.gamma(1 + 2 / self.shape)
        return self.scale * math.sqrt(second - math.gamma(1 + 1 / self.shape) ** 2)

    def survival(self, age: float) -> float:
        return math.exp(-((age / self.scale) ** self.shape))

    def hazard_to(self, age: float) -> float:
        """Cumulative hazard: failures expected of one piece, always replaced, up to an age."""
        return float((age / self.scale) ** self.shape)

    def age_by(self, share: float) -> float:
        """Age by which that share has ended; 0.1 gives B10."""
        return float(self.scale * (-math.log1p(-share)) ** (1 / self.shape))


@dataclass(frozen=True, slots=True)
class Fit:
    life: Weibull
    shape: Range
    mean: Range
    log_likelihood: float
    ends: int
    pieces: int

    @property
    def aic(self) -> float:
        return 4 - 2 * self.log_likelihood


def fit(lives: Sequence[Life], level: float = 0.90) -> Fit:
    """The fit and its ranges. Raises `TooLittleData` for fewer than 3 ends, for ends all at one
    age, and where the mean would lie far beyond every age seen."""
    data = Arrays.of(lives)
    if data.ends < LEAST_ENDS:
        raise TooLittleData(
            said("{ends} ended by wear, {needed} needed", ends=data.ends, needed=LEAST_ENDS)
        )
    shape = _best_shape(data)
    best = _log_likelihood(data, shape, _scale(data, shape))
    found = Weibull(shape, _scale(data, shape) * data.scale)
    if found.mean > FARTHEST * data.scale:
        raise SeenTooShort(
            said("the oldest was seen to {age:g}, too short for a mean life", age=data.scale)
        )
    drop = chi2.ppf(level, 1) * (1 + 1 / data.ends) / 2
    floor = best - float(drop)
    by_shape = _range(lambda k: _log_likelihood(data, k, _scale(data, k)) - floor, shape, SHAPES)
    mean = found.mean / data.scale
    by_mean = _range(lambda m: _profile_mean(data, m) - floor, mean, (mean / 50, mean * 200))
    return Fit(
        life=found,
        shape=by_shape,
        mean=Range(by_mean.low * data.scale, by_mean.high * data.scale),
        log_likelihood=best - data.ends * math.log(data.scale),
        ends=data.ends,
        pieces=len(data.age),
    )


def _best_shape(data: Arrays) -> float:
    logs = data.log_ages()
    with np.errstate(divide="ignore", invalid="ignore"):
        ln_age = np.log(data.age)
        ln_entered = np.where(data.entered > 0, np.log(data.entered), 0.0)

    def score(shape: float) -> float:
        slope = (data.age**shape * ln_age - data.entered**shape * ln_entered).sum()
        return float(data.ends / shape + logs - data.ends * slope / data.powers(shape))

    low, high = SHAPES
    if not score(low) > 0 > score(high):
        raise TooLittleData(said("the ages at which pieces ended give no shape"))
    return float(brentq(score, low, high, xtol=1e-13, rtol=1e-13))


def _scale(data: Arrays, shape: float) -> float:
    return float((data.powers(shape) / data.ends) ** (1 / shape))


def _log_likelihood(data: Arrays, shape: float, scale: float) -> float:
    """In scaled ages."""
    return float(
        data.ends * (math.log(shape) - shape * math.log(scale))
        + (shape - 1) * data.log_ages()
        - data.powers(shape) / scale**shape
    )


def _profile_mean(data: Arrays, mean: float) -> float:
    """The best log-likelihood at that mean life, over all shapes."""

    def worse(log_shape: float) -> float:
        shape = math.exp(log_shape)
        return -_log_likelihood(data, shape, mean / math.gamma(1 + 1 / shape))

    bounds = (math.log(0.08), math.log(SHAPES[1]))
    return -float(minimize_scalar(worse, bounds=bounds, method="bounded").fun)


def _range(above: Callable[[float], float], best: float, bounds: tuple[float, float]) -> Range:
    """Where `above` crosses zero on either side of the best value."""
    low, high = bounds
    at_low = float(brentq(above, low, best)) if above(low) < 0 else 0.0
    at_high = float(brentq(above, best, high)) if above(high) < 0 else math.inf
    return Range(at_low, at_high)
