"""One draw of all effects of the cutting model at once, given its spreads."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

LEVEL_SD = 0.25  # of the first week's level, as a logarithm: our assumption


@dataclass(frozen=True)
class Layout:
    """Which week, cell, nest and table-day each run belongs to, as places from 0 on. `gaps` are
    the weeks between one week with runs and the next."""

    week: Ints
    cell: Ints
    nest: Ints
    day: Ints
    gaps: Floats
    weeks: int
    cells: int
    nests: int
    days: int


@dataclass(frozen=True)
class Effects:
    """Logarithms of actual / plan: the level of each week, and what cells, nests and table-days
    differ by."""

    level: Floats
    cell: Floats
    nest: Floats
    day: Floats

    def of(self, at: Layout) -> Floats:
        """The expected logarithm of each run."""
        return self.level[at.week] + self.cell[at.cell] + self.nest[at.nest] + self.day[at.day]


def draw_effects(
    chance: np.random.Generator,
    y: Floats,
    weight: Floats,
    at: Layout,
    *,
    slope: float,
    drift: float,
    cell_sd: float,
    nest_sd: float,
    day_mean: Floats,
    day_sd: float,
) -> Effects:
    """A joint draw, so that no effect has to creep after another. `weight` is 1 / variance of each
    run's error; `day_mean` (days,) and `day_sd` are the table-days' prior given their handling.

    Nests are many and each run has one, so they are eliminated first: what is left is one dense
    system of weeks, cells and days.
    """
    weeks, cells, days = at.weeks, at.cells, at.days
    size = weeks + cells + days
    places = (at.week, weeks + at.cell, weeks + cells + at.day)
    precision = np.zeros((size, size))
    flat = precision.reshape(-1)
    for one in places:
        for other in places:
            flat += np.bincount(one * size + other, weight, size * size)
    right = np.zeros(size)
    for one in places:
        right += np.bincount(one, weight * y, size)
    _add_level_prior(precision, right, at.gaps, slope, drift)
    spare = np.arange(weeks, size)
    precision[spare[:cells], spare[:cells]] += 1 / cell_sd**2
    precision[spare[cells:], spare[cells:]] += 1 / day_sd**2
    right[weeks + cells :] += day_mean / day_sd**2
    nest_precision = np.bincount(at.nest, weight, at.nests) + 1 / nest_sd**2
    nest_right = np.bincount(at.nest, weight * y, at.nests)
    crossed = np.zeros((at.nests, size))
    for one in places:
        crossed.reshape(-1)[:] += np.bincount(at.nest * size + one, weight, at.nests * size)
    scaled = crossed / nest_precision[:, None]
    precision -= crossed.T @ scaled
    right = right - scaled.T @ nest_right
    lower = np.linalg.cholesky(precision)
    mean = np.linalg.solve(lower.T, np.linalg.solve(lower, right))
    rest = mean + np.linalg.solve(lower.T, chance.standard_normal(size))
    nest_mean = (nest_right - crossed @ rest) / nest_precision
    nest = nest_mean + chance.standard_normal(at.nests) / np.sqrt(nest_precision)
    return Effects(rest[:weeks], rest[weeks : weeks + cells], nest, rest[weeks + cells :])


def _add_level_prior(
    precision: Floats, right: Floats, gaps: Floats, slope: float, drift: float
) -> None:
    """The level walks: each week's is the one before, plus the slope, plus N(0, drift^2) a week."""
    precision[0, 0] += 1 / LEVEL_SD**2
    for place, weeks in enumerate(gaps):
        tight = 1 / (drift**2 * weeks)
        step = slope * weeks * tight
        precision[place, place] += tight
        precision[place + 1, place + 1] += tight
        precision[place, place + 1] -= tight
        precision[place + 1, place] -= tight
        right[place] -= step
        right[place + 1] += step
