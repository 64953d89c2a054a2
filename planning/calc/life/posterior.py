"""A Weibull life as a whole cloud of shapes and means, weighed by the pieces seen and a weak prior.

Prior: ln shape ~ N(ln 2, .45), ln(mean / rated life) ~ N(0, .5), on a grid. It carries a shop that
has no data yet and fades as pieces end. A range from one best fit covers 53-87 % where it says 90;
this one 91-93 % over shops drawn at random, and less where the truth lies at the prior's edge
(shape 4 with 80 % censored). Without a rated life ln mean is flat, and 3 ends are
needed.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from planning.calc.life.records import Arrays, Floats, Life, SeenTooShort, TooLittleData
from planning.calc.life.weibull import FARTHEST, LEAST_ENDS
from planning.calc.said import said

SHAPE_MIDDLE, SHAPE_SD = math.log(2), 0.45
MEAN_SD, UNRATED_SD = 0.5, 1.0
CELLS = (49, 81)
REACH = 3.5  # standard deviations that the grid spans either way
CLOSER = 4.5  # and of the second, finer one, of what the first has found
SLIGHTEST = 1e-5  # cells lighter than this part of the heaviest are left out


@dataclass(frozen=True)
class Posterior:
    """Cells of (shape, scale) and their weights, which sum to 1. `ends` of `pieces` ended."""

    shape: Floats
    scale: Floats
    weight: Floats
    ends: int
    pieces: int

    @classmethod
    def of(cls, lives: Sequence[Life], rated: float | None, least: int = LEAST_ENDS) -> Posterior:
        """Twice on a grid: over all that is believed, then where the weight lies. Raises
        `TooLittleData` without a rated life, where fewer than `least` ended or the mean would lie
        far beyond every age seen."""
        data = Arrays.of(lives)
        rated = rated or None  # rated for 0 starts is as good as unrated
        if rated is None and data.ends < least:
            raise TooLittleData(
                said(
                    "no rated life, and {ends} ended by wear, {needed} needed",
                    ends=data.ends,
                    needed=least,
                )
            )
        used = float((data.age - data.entered).sum()) * data.scale
        middle = math.log(rated or used / data.ends)
        reach = REACH * (MEAN_SD if rated else UNRATED_SD)
        prior = middle if rated else None
        first, last = middle - reach, middle + reach
        if data.ends:  # a rating may be wrong by more than the prior reaches
            seen = math.log(used / data.ends)
            first, last = min(first, seen - 1), max(last, seen + 1)
        whole = (SHAPE_MIDDLE - REACH * SHAPE_SD, SHAPE_MIDDLE + REACH * SHAPE_SD)
        shapes, means = np.linspace(*whole, CELLS[0]), np.linspace(first, last, CELLS[1])
        weight = _weights(data, shapes, means, prior)
        shapes = _closer(shapes, weight.sum(axis=1))
        means = _closer(means, weight.sum(axis=0))
        weight = _weights(data, shapes, means, prior)
        kept = weight > SLIGHTEST * weight.max()
        shape, mean = np.broadcast_arrays(np.exp(shapes)[:, None], np.exp(means)[None, :])
        scale = mean / _gammas(np.exp(shapes))[:, None]
        weights = weight[kept] / weight[kept].sum()
        found = cls(shape[kept], scale[kept], weights, data.ends, len(data.age))
        if rated is None and found.mean > FARTHEST * data.scale:
            raise SeenTooShort(
                said("the oldest was seen to {age:g}, too short for a mean life", age=data.scale)
            )
        return found

    @cached_property
    def mean(self) -> float:
        """Mean life, averaged over the cloud."""
        return float((self.weight * self.means).sum())

    @cached_property
    def means(self) -> Floats:
        return np.asarray(self.scale * _gammas(self.shape))

    def mean_between(self, level: float) -> tuple[float, float]:
        return _between(self.means, self.weight, level)

    def shape_between(self, level: float) -> tuple[float, float]:
        return _between(self.shape, self.weight, level)

    def scale_between(self, level: float) -> tuple[float, float]:
        return _between(self.scale, self.weight, level)

    def survival(self, ages: Floats) -> Floats:
        """Share of new pieces that reach each age."""
        unit = float(self.scale.mean())
        shapes, which = np.unique(self.shape, return_inverse=True)
        powers = (ages[:, None] / unit) ** shapes[None, :]  # few shapes: cheaper than each cell's
        of_cell = (unit / self.scale) ** self.shape
        return np.asarray(np.exp(-powers[:, which] * of_cell[None, :]) @ self.weight)

    def survival_between(self, ages: Floats, level: float) -> tuple[Floats, Floats]:
        """For each age, between which shares of new pieces that reach it the truth lies."""
        found = [
            _between(np.exp(-((age / self.scale) ** self.shape)), self.weight, level)
            for age in ages
        ]
        low, high = zip(*found, strict=True)
        return np.array(low), np.array(high)

    def hazard(self, first: float, last: float) -> float:
        """Ends expected of one piece while it ages from `first` to `last`, replaced at each."""
        more = (last / self.scale) ** self.shape - (first / self.scale) ** self.shape
        return float((self.weight * more).sum())


def _gammas(shapes: Floats) -> Floats:
    """Mean life over scale."""
    return np.array([math.gamma(1 + 1 / float(k)) for k in shapes])


def _weights(data: Arrays, shapes: Floats, means: Floats, prior: float | None) -> Floats:
    """Of each (ln shape, ln mean), the heaviest 1. `prior`: the middle of ln mean; None: flat."""
    shape = np.exp(shapes)[:, None]
    scale = np.exp(means)[None, :] / _gammas(np.exp(shapes))[:, None]
    log = -(((shapes[:, None] - SHAPE_MIDDLE) / SHAPE_SD) ** 2) / 2
    if prior is not None:
        log = log - ((means[None, :] - prior) / MEAN_SD) ** 2 / 2
    log = log + _log_likelihood(data, shape, scale / data.scale)
    return np.asarray(np.exp(log - log.max()))


def _closer(values: Floats, weight: Floats) -> Floats:
    """As many values where the weight lies, within those of before."""
    share = weight / weight.sum()
    middle = float((share * values).sum())
    step = float(values[1] - values[0])
    sd = math.sqrt(float((share * (values - middle) ** 2).sum()) + step**2)
    low, high = max(values[0], middle - CLOSER * sd), min(values[-1], middle + CLOSER * sd)
    return np.linspace(low, high, len(values))


def _log_likelihood(data: Arrays, shape: Floats, scale: Floats) -> Floats:
    if not len(data.age):
        return np.zeros(np.broadcast_shapes(shape.shape, scale.shape))
    powers = np.array([data.powers(float(k)) for k in shape.ravel()]).reshape(shape.shape)
    return np.asarray(
        data.ends * (np.log(shape) - shape * np.log(scale))
        + (shape - 1) * data.log_ages()
        - powers / scale**shape
    )


def _between(values: Floats, weight: Floats, level: float) -> tuple[float, float]:
    order = np.argsort(values)
    passed = np.cumsum(weight[order])
    tail = (1 - level) / 2
    at = np.minimum(np.searchsorted(passed, [tail, 1 - tail]), len(order) - 1)
    low, high = values[order][at]
    return float(low), float(high)
