"""Failures against expectation: are there more than chance explains?

Seen are ends by wear in a window, one an incident. Expected is the sum over every piece at risk of
H(age at the window's end) - H(age at its start), with H the cumulative hazard as it was known
before. Counted in expected failures instead of days, ends come as a Poisson process of rate 1
(Watanabe 1964), whatever the ages; H itself is known so well only, so what is expected is taken as
a gamma variable of its mean and variance, and the count as negative binomial.

Who looks every day sees a rare fortnight sooner or later. `ever` is the chance that any window of
so many does as much: Naus's approximation for the scan statistic (Naus 1982, J. Am. Stat. Assoc.
77, 177-183; Glaz, Naus, Wallenstein, Scan Statistics, 2001, ch. 11). Windows slide there without a
step, here by a day, so it is on the safe side.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from scipy.special import gammaln
from scipy.stats import gamma, nbinom, poisson

UNLIKELY = 0.01  # of one window, looked at once
RARE = 0.10  # of a year of looking at all windows and sets: what is called more than chance
NODES = 15  # equal shares of what is expected that `ever` is averaged over
CERTAIN = 1e-6  # variance below this part of the squared mean is none


@dataclass(frozen=True, slots=True)
class Excess:
    """`chance`: that so many or more come in this one window by chance; None where nothing was
    expected. `year`: that any window of a year does as much."""

    seen: int
    expected: float
    chance: float | None
    year: float | None = None

    @property
    def unlikely(self) -> bool:
        return self.chance is not None and self.chance < UNLIKELY

    @property
    def rare(self) -> bool:
        return self.year is not None and self.year < RARE


def excess(
    seen: int, expected: float, variance: float = 0.0, *, windows: float = 1.0, looks: int = 1
) -> Excess:
    """`variance` of what is expected; `windows` that fit end to end into a year; `looks`: sets and
    lengths of window that are watched beside each other, by whose number chances are multiplied."""
    if expected <= 0:
        return Excess(seen, 0.0, None)
    if variance <= CERTAIN * expected**2:
        chance, means = float(poisson.sf(seen - 1, expected)), (expected,)
    else:
        size = expected**2 / variance
        chance = float(nbinom.sf(seen - 1, size, size / (size + expected)))
        middles = (np.arange(NODES) + 0.5) / NODES
        means = tuple(gamma.ppf(middles, size, scale=expected / size).tolist())
    if looks * chance >= 1:
        return Excess(seen, expected, chance, 1.0)
    year = sum(ever(seen, mean, windows) for mean in means) / len(means)
    return Excess(seen, expected, chance, min(1.0, looks * max(year, chance)))


@lru_cache(maxsize=4096)
def ever(seen: int, mean: float, windows: float) -> float:
    """The chance that in `windows` windows' time, a window with `mean` expected somewhere holds
    `seen` or more. From 2 windows on."""
    if seen <= 0:
        return 1.0
    if windows < 2:
        return float(poisson.sf(seen - 1, mean))
    if seen == 1:
        return float(-np.expm1(-mean * windows))
    counts = _Counts(seen, mean)
    two, three = counts.none_in_two(), counts.none_in_three()
    if two <= 0 or three <= 0:
        return 1.0
    return float(min(1.0, max(0.0, 1 - two * (three / two) ** (windows - 2))))


class _Counts:
    """Poisson chances about `k`, laid out once; 0 below none."""

    def __init__(self, k: int, mean: float) -> None:
        self.k, self.mean = k, mean
        numbers = np.arange(2 * k)
        self._one = np.exp(numbers * np.log(mean) - mean - gammaln(numbers + 1))
        self._few = np.minimum(np.cumsum(self._one), 1.0)

    def one(self, n: int) -> float:
        """P(N = n)."""
        return float(self._one[n]) if n >= 0 else 0.0

    def few(self, n: int) -> float:
        """P(N <= n)."""
        return float(self._few[n]) if n >= 0 else 0.0

    def none_in_two(self) -> float:
        """No window of `k` or more within two windows' time; exact."""
        k, few, one = self.k, self.few, self.one
        close = (k - 1) * one(k - 2) + (k - 1 - self.mean) * few(k - 3)
        return few(k - 1) ** 2 - one(k) * close

    def none_in_three(self) -> float:
        """The same within three; exact."""
        k, few, one, mean = self.k, self.few, self.one, self.mean
        first = 2 * one(k) * few(k - 1) * ((k - 1) * few(k - 2) - mean * few(k - 3))
        inner = (
            (k - 1) * (k - 2) * few(k - 3) - 2 * (k - 2) * mean * few(k - 4) + mean**2 * few(k - 5)
        )
        third = sum(one(2 * k - r) * few(r - 1) ** 2 for r in range(1, k))
        fourth = sum(
            one(2 * k - r) * one(r) * ((r - 1) * few(r - 2) - mean * few(r - 3))
            for r in range(2, k)
        )
        return few(k - 1) ** 3 - first + 0.5 * one(k) ** 2 * inner + third - fourth


def usual(mean: float, variance: float, level: float) -> tuple[int, int]:
    """Between how many failures that share of chance lies."""
    tails = (1 - level) / 2, (1 + level) / 2
    if variance <= CERTAIN * mean**2:
        low, high = (int(poisson.ppf(tail, mean)) for tail in tails)
    else:
        size = mean**2 / variance
        low, high = (int(nbinom.ppf(tail, size, size / (size + mean))) for tail in tails)
    return low, high
