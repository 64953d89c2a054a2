"""How often cutting stops: a Poisson rate that differs from day to day."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

CLUMPS: Final = (0.5, 1.0, 2.0, 4.0, 8.0, 32.0)  # small: some days have many
RATE_SD: Final = 1.0  # of the logarithm of the typed rate
GRID: Final = 41


@dataclass(frozen=True)
class StopRate:
    """Draws of the rate (1/s of cutting) and of how days differ: a day's rate is the rate times
    Gamma(clump, clump)."""

    rate: Floats
    clump: Floats

    def days_factor(
        self, chance: np.random.Generator, which: NDArray[np.int64], seen: int, cut_s: float
    ) -> Floats:
        """Today's factor, of shape `which` (places among the draws), `seen` stoppages in `cut_s`
        seconds of today's cutting being known."""
        clump = self.clump[which]
        return chance.gamma(clump + seen) / (clump + self.rate[which] * cut_s)


def fit_stops(
    chance: np.random.Generator,
    days: Mapping[int, tuple[int, float]],
    stops_per_h: float,
    draws: int,
) -> StopRate:
    """From each day's number of stoppages and seconds of cutting. Draws on a grid of the exact
    posterior (negative binomial a day)."""
    middle = stops_per_h / 3600
    rates = middle * np.exp(np.linspace(-3, 3, GRID) * RATE_SD)
    weight = np.empty((GRID, len(CLUMPS)))
    for column, clump in enumerate(CLUMPS):
        fits = -0.5 * (np.log(rates / middle) / RATE_SD) ** 2
        for count, cut_s in days.values():
            fits = fits + _negative_binomial(count, rates * cut_s, clump)
        weight[:, column] = fits
    flat = np.exp(weight - weight.max()).reshape(-1)
    chosen = chance.choice(len(flat), draws, p=flat / flat.sum())
    row, column_of = np.divmod(chosen, len(CLUMPS))
    jitter = np.exp((chance.random(draws) - 0.5) * 6 * RATE_SD / (GRID - 1))
    return StopRate(rates[row] * jitter, np.array(CLUMPS)[column_of])


def _negative_binomial(count: int, expected: Floats, clump: float) -> Floats:
    rising = math.fsum(math.log(clump + one) for one in range(count))
    logs: Floats = np.log(np.maximum(expected, 1e-300))
    return np.asarray(
        rising + clump * np.log(clump) + count * logs - (clump + count) * np.log(clump + expected)
    )
