"""Draws of spreads on grids, and of how errors are distributed."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from typing import Final

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

GRID: Final = 48
NEARLY_ALL: Final = 12.0  # logarithms below the highest: what lies deeper has no weight
POWERS: Final = (0.0, 0.5, 1.0, 1.5, 2.0)  # how the variance falls with the run's length
FREEDOMS: Final = (3.0, 5.0, 10.0, 40.0)
SIGMA: Final = 0.06  # our assumption of a run's own spread, worth 3 runs
SIGMA_WORTH: Final = 3.0


def pick(
    chance: np.random.Generator, values: Sequence[float] | Floats, log_weight: Floats
) -> float:
    """One of `values` with probability proportional to exp(log_weight)."""
    weights = np.exp(log_weight - log_weight.max())
    return float(
        np.asarray(values)[np.searchsorted(np.cumsum(weights), chance.random() * weights.sum())]
    )


def on_grid(
    chance: np.random.Generator, low: float, high: float, density: Callable[[Floats], Floats]
) -> float:
    """A draw of a density given as its logarithm on values even in the logarithm; a second grid
    lies where the first one found nearly all of it."""
    for last in (False, True):
        grid = np.geomspace(low, high, GRID)
        weight = density(grid)
        if not last:
            near = np.flatnonzero(weight > weight.max() - NEARLY_ALL)
            low, high = grid[max(near[0] - 1, 0)], grid[min(near[-1] + 1, GRID - 1)]
    return pick(chance, grid, weight)


def half_t(grid: Floats, scale: float) -> Floats:
    """Log density of a half-t with 3 degrees of freedom (Gelman 2006, from memory), less a
    constant, on a grid even in the logarithm."""
    return np.asarray(np.log(grid) - 2 * np.log1p((grid / scale) ** 2 / 3))


def draw_spread(chance: np.random.Generator, squares: float, count: int, scale: float) -> float:
    """The standard deviation of `count` effects with that sum of squares."""

    def density(grid: Floats) -> Floats:
        fits = half_t(grid, scale) - count * np.log(grid) - squares / (2 * grid**2)
        return np.asarray(fits)

    return on_grid(chance, scale / 30, scale * 8, density)


def t_density(z: Floats, freedom: float) -> Floats:
    """Log density of Student's t less what does not depend on z."""
    return np.asarray(-(freedom + 1) / 2 * np.log1p(z**2 / freedom))


def t_constant(freedom: float) -> float:
    return (
        math.lgamma((freedom + 1) / 2) - math.lgamma(freedom / 2)
        - 0.5 * math.log(freedom * math.pi)
    )  # fmt: skip


def draw_errors(
    chance: np.random.Generator, error: Floats, relative: Floats, power: float, freedom: float
) -> tuple[float, float, float]:
    """(sigma, power, freedom) given the errors; `relative` is each run's plan over their mean."""
    log_length = np.log(relative)
    plain = error * np.exp(power / 2 * log_length)

    def density(grid: Floats) -> Floats:
        fits = t_density(plain[:, None] / grid[None, :], freedom).sum(axis=0)
        prior = -SIGMA_WORTH * np.log(grid) - SIGMA_WORTH * SIGMA**2 / (2 * grid**2)
        return np.asarray(fits - len(error) * np.log(grid) + prior)

    sigma = on_grid(chance, SIGMA / 12, SIGMA * 12, density)
    each = [
        t_density(error / sigma * np.exp(one / 2 * log_length), freedom).sum()
        + one / 2 * log_length.sum()
        for one in POWERS
    ]
    power = pick(chance, POWERS, np.array(each))
    z = error / sigma * np.exp(power / 2 * log_length)
    each = [t_density(z, one).sum() + len(z) * t_constant(one) for one in FREEDOMS]
    return sigma, power, pick(chance, FREEDOMS, np.array(each))
