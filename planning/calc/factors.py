"""What runs take against their plan, by set, material and thickness: partial pooling.

Model: y = ln(actual / plan) of a run in cell i is normal about the cell's theta_i with one spread
sigma for the shop; the theta_i are normal about the shop's mean mu with spread tau. mu is flat,
sigma flat in its logarithm, tau half-normal with scale `TAU_SCALE` (our assumption: cells of one
shop rarely differ by more than a factor of two). sigma and tau are summed over on a grid, so that
the intervals hold what is not known of them; theta_i given both is normal in closed form (Gelman
et al., Bayesian Data Analysis, 3rd ed., 5.4). A cell with few runs is drawn towards the shop's
mean, one with many keeps its own. It stops being valid where runs are not alike in time: a new
torch, a new chart; then older runs should be left out.
"""

from __future__ import annotations

import math
from collections.abc import Hashable, Mapping, Sequence
from dataclasses import dataclass
from statistics import fmean
from typing import Generic, TypeVar

import numpy as np
import numpy.typing as npt

from planning.calc.said import said

K = TypeVar("K", bound=Hashable)
Floats = npt.NDArray[np.float64]

NEEDED = 5  # our assumption: fewer runs in the whole shop say too little of anything
RANGE = 0.9
TAU_SCALE = 0.3
_TAUS = np.linspace(0.0, 1.0, 51)
_SIGMAS = np.geomspace(1 / 2.5, 2.5, 31)  # times the spread within cells
_LEAST_SPREAD = 0.005
_SLIGHT = 1e-4  # grid points of less weight than this against the best add nothing


@dataclass(frozen=True, slots=True)
class NotEnoughData:
    n: int
    needed: int

    @property
    def words(self) -> str:
        return said("not enough data ({n}, needed {needed})", n=self.n, needed=self.needed)

    def __str__(self) -> str:
        return str(self.words)


@dataclass(frozen=True, slots=True)
class CellFactor:
    """actual / plan of one cell: the middle and the 90 % interval of what its runs take in the
    middle, from `n` runs of its own; `bare` is their geometric mean undrawn (None without any)."""

    value: float
    low: float
    high: float
    n: int
    bare: float | None


class Fit(Generic[K]):
    """The shop fitted. `shop` is exp(mu), `spread` and `between` the means of sigma and tau."""

    def __init__(self, cells: Mapping[K, Sequence[float]]) -> None:
        self._cells = {key: list(own) for key, own in cells.items() if own}
        own = list(self._cells.values())
        self.n = sum(len(each) for each in own)
        self._means = {key: fmean(each) for key, each in self._cells.items()}
        tau, sigma, weight, mu, mu_var = _grid(own)
        self._tau2, self._sigma2, self._weight = tau**2, sigma**2, weight
        self._mu, self._mu_var = mu, mu_var
        self.shop = math.exp(float(weight @ mu))
        self.spread = float(weight @ sigma)
        self.between = float(weight @ tau)

    def cell(self, key: K, share: float = RANGE) -> CellFactor:
        """The cell's factor. One without a run of its own gets the shop's mean, as wide as cells
        differ."""
        own = self._cells.get(key, [])
        middle, var = self._theta(key)
        value = math.exp(float(self._weight @ middle))
        low, high = _ends(self._weight, middle, var, share)
        bare = math.exp(self._means[key]) if own else None
        return CellFactor(value, math.exp(low), math.exp(high), len(own), bare)

    def next_run(self, key: K, share: float = RANGE) -> tuple[float, float]:
        """The interval of actual / plan for one more run of the cell."""
        middle, var = self._theta(key)
        low, high = _ends(self._weight, middle, var + self._sigma2, share)
        return math.exp(low), math.exp(high)

    def _theta(self, key: K) -> tuple[Floats, Floats]:
        """Mean and variance of theta at each point of the grid."""
        own = self._cells.get(key, [])
        if not own:
            return self._mu, self._mu_var + self._tau2
        noise = self._sigma2 / len(own)
        keeps = self._tau2 / (self._tau2 + noise)
        middle = keeps * self._means[key] + (1 - keeps) * self._mu
        return middle, keeps * noise + (1 - keeps) ** 2 * self._mu_var


def fit(cells: Mapping[K, Sequence[float]]) -> Fit[K] | NotEnoughData:
    """Fit ln(actual / plan) by cell."""
    count = sum(len(own) for own in cells.values())
    return NotEnoughData(count, NEEDED) if count < NEEDED else Fit(cells)


def _grid(own: Sequence[Sequence[float]]) -> tuple[Floats, Floats, Floats, Floats, Floats]:
    """tau, sigma, posterior weight, mean and variance of mu, one value a grid point."""
    counts = np.array([len(each) for each in own], dtype=np.float64)
    middles = [fmean(each) for each in own]
    means = np.array(middles)
    within = sum(
        math.fsum((y - middle) ** 2 for y in each)
        for each, middle in zip(own, middles, strict=True)
    )
    freedom = float(counts.sum()) - len(own)
    every = [y for each in own for y in each]
    whole = fmean(every)
    middle = math.fsum((y - whole) ** 2 for y in every) / (len(every) - 1)
    about = math.sqrt(within / freedom) if freedom > 0 and within > 0 else math.sqrt(middle)
    taus, sigmas = np.meshgrid(_TAUS, _SIGMAS * max(about, _LEAST_SPREAD))
    tau, sigma = taus.ravel(), sigmas.ravel()
    var = tau[:, None] ** 2 + sigma[:, None] ** 2 / counts[None, :]
    mu_var = 1 / (1 / var).sum(axis=1)
    mu = mu_var * (means[None, :] / var).sum(axis=1)
    log_p = (
        -freedom * np.log(sigma)
        - within / (2 * sigma**2)
        - 0.5 * np.log(var).sum(axis=1)
        + 0.5 * np.log(mu_var)
        - 0.5 * ((means[None, :] - mu[:, None]) ** 2 / var).sum(axis=1)
        - 0.5 * (tau / TAU_SCALE) ** 2
    )
    weight = np.exp(log_p - log_p.max())
    keep = weight > _SLIGHT
    weight = weight[keep] / weight[keep].sum()
    return tau[keep], sigma[keep], weight, mu[keep], mu_var[keep]


def _ends(weight: Floats, middle: Floats, var: Floats, share: float) -> tuple[float, float]:
    """Quantiles of a mixture of normals, by bisection to 1e-6."""
    sd = np.sqrt(var)
    reach = 8 * float(sd.max())
    ends = []
    for chance in (0.5 - share / 2, 0.5 + share / 2):
        low, high = float(middle.min()) - reach, float(middle.max()) + reach
        while high - low > 1e-6:
            at = (low + high) / 2
            below = float(weight @ _normal((at - middle) / sd))
            low, high = (at, high) if below < chance else (low, at)
        ends.append((low + high) / 2)
    return ends[0], ends[1]


def _normal(z: Floats) -> Floats:
    """The normal distribution function, by Abramowitz and Stegun 26.2.17 (within 7.5e-8)."""
    t = 1 / (1 + 0.2316419 * np.abs(z))
    series = t * (
        0.319381530 + t * (-0.356563782 + t * (1.781477937 + t * (-1.821255978 + t * 1.330274429)))
    )
    tail = np.exp(-0.5 * z**2) / math.sqrt(2 * math.pi) * series
    found: Floats = np.where(z >= 0, 1 - tail, tail)
    return found


@dataclass(frozen=True, slots=True)
class Error:
    """How far plans were off: |actual / plan - 1|, its median and the value 90 % stay below."""

    median: float
    ninety: float
    n: int


@dataclass(frozen=True, slots=True)
class BackTest(Generic[K]):
    """The plan bare and with factors learnt from the other months. `inside` is the share of runs
    that fell into the 90 % range said for them, `by_cell` (before, after) of each cell."""

    before: Error
    after: Error
    inside: float
    months: int
    by_cell: dict[K, tuple[Error, Error]]


def back_test(
    runs: Sequence[tuple[Hashable, K, float]],
) -> BackTest[K] | NotEnoughData:
    """Leave one month out: `runs` are (month, cell, ln(actual / plan)). Every month is foretold
    from the others alone; months are what drift and weather come in, single runs are not."""
    months = sorted({month for month, _, _ in runs}, key=str)
    if len(months) < 2:
        return NotEnoughData(len(months), 2)
    bare: list[tuple[K, float]] = []
    with_it: list[tuple[K, float]] = []
    inside = 0
    for left_out in months:
        cells: dict[K, list[float]] = {}
        for month, cell, log in runs:
            if month != left_out:
                cells.setdefault(cell, []).append(log)
        found = fit(cells)
        if isinstance(found, NotEnoughData):
            continue
        own = [(cell, log) for month, cell, log in runs if month == left_out]
        said = {
            cell: (found.cell(cell).value, found.next_run(cell))
            for cell in dict.fromkeys(cell for cell, _ in own)
        }
        for cell, log in own:
            value, (low, high) = said[cell]
            bare.append((cell, abs(math.exp(log) - 1)))
            with_it.append((cell, abs(math.exp(log) / value - 1)))
            inside += low <= math.exp(log) <= high
    if not bare:
        return NotEnoughData(0, NEEDED)
    by_cell = {
        key: (_error(own), _error(with_factor))
        for (key, own), with_factor in zip(
            _by_cell(bare).items(), _by_cell(with_it).values(), strict=True
        )
    }
    return BackTest(
        _error([off for _, off in bare]),
        _error([off for _, off in with_it]),
        inside / len(bare),
        len(months),
        by_cell,
    )


def _by_cell(off: Sequence[tuple[K, float]]) -> dict[K, list[float]]:
    found: dict[K, list[float]] = {}
    for cell, each in off:
        found.setdefault(cell, []).append(each)
    return found


def _error(off: Sequence[float]) -> Error:
    median, ninety = np.quantile(np.array(off), [0.5, 0.9])
    return Error(float(median), float(ninety), len(off))
