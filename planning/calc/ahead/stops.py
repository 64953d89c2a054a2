"""How often cutting stops: a Poisson rate that differs from day to day and from nest to nest (bad
plate, parts that tip up)."""

from __future__ import annotations

import math
from collections.abc import Hashable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from planning.calc.ahead.records import Exposed, Records

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

CLUMPS: Final = (0.2, 0.5, 1.0, 2.0, 4.0, 8.0, 32.0)  # small: few have nearly all
BELIEF: Final = (0.1, 0.15, 0.2, 0.2, 0.15, 0.1, 0.1)  # in each: our assumption
MOST_TIMES: Final = 20.0  # what a day's or a nest's rate is of the usual one, at the most
RATE_SD: Final = 1.0  # of the logarithm of the typed rate
GRID: Final = 41
UNUSED: Final = 40  # first sweeps, which may still remember where they began
Seen = tuple[int, float]


@dataclass(frozen=True)
class StopRate:
    """Draws of the rate (1/s of cutting) and of how days and nests differ: the rate on a day and
    nest is the rate times Gamma(clump, clump) of each. `days` and `nests` are what was seen of
    them: stoppages, and seconds of cutting weighed by the other's factor."""

    rate: Floats
    clump: Floats  # of days
    nest_clump: Floats
    days: Mapping[int, Seen]
    nests: Mapping[Hashable, Seen]

    @property
    def usual(self) -> float:
        """Stoppages a second of cutting, of all that was seen together: what an ordinary shift
        meets. Where hardly any was seen, as the draws say."""
        counts = sum(seen[0] for seen in self.nests.values())
        cut_s = math.fsum(seen[1] for seen in self.nests.values())
        return (counts + 1) / (cut_s + 1 / float(self.rate.mean()))

    def day_factor(self, chance: np.random.Generator, which: Ints, day: int | None) -> Floats:
        """A day's factor, of shape `which` (places among the draws); None: a day to come."""
        seen = UNSEEN if day is None else self.days.get(day, UNSEEN)
        return self._factor(chance, which, self.clump, seen)

    def nest_factor(self, chance: np.random.Generator, which: Ints, nest: Hashable) -> Floats:
        return self._factor(chance, which, self.nest_clump, self.nests.get(nest, UNSEEN))

    def _factor(
        self, chance: np.random.Generator, which: Ints, clumps: Floats, seen: Seen
    ) -> Floats:
        clump = clumps[which]
        found = chance.gamma(clump + seen[0]) / (clump + self.rate[which] * seen[1])
        return np.minimum(found, MOST_TIMES)


UNSEEN: Final[Seen] = (0, 0.0)


def exposed(records: Records) -> list[Exposed]:
    """By day and nest, how long was cut and how often it stopped. A stoppage whose nest is not
    known counts with the one that was cut longest that day."""
    seconds: dict[tuple[int, Hashable], float] = {}
    counts: dict[tuple[int, Hashable], int] = {}
    for cut in records.cuts:
        seconds[cut.day, cut.nest] = seconds.get((cut.day, cut.nest), 0.0) + cut.took_s
    for one in records.going:
        key = (one.day, one.nest)
        seconds[key] = seconds.get(key, 0.0) + one.cut_s
        counts[key] = counts.get(key, 0) + one.stops
    longest: dict[int, Hashable] = {}
    for day, nest in sorted(seconds, key=lambda key: seconds[key]):
        longest[day] = nest
    for stop in records.stops:
        key = (stop.day, stop.nest)
        if key not in seconds:
            key = (stop.day, longest.get(stop.day))
        counts[key] = counts.get(key, 0) + 1
    return [Exposed(*key, cut_s, counts.get(key, 0)) for key, cut_s in seconds.items()]


def fit_stops(
    chance: np.random.Generator, seen: Sequence[Exposed], stops_per_h: float, draws: int
) -> StopRate:
    """By Gibbs: rate and clump are drawn together on a grid with the factors of one kind summed out
    (negative binomial), those factors then given both; days and nests take turns."""
    middle = stops_per_h / 3600
    days, nests = _Kind.of(one.day for one in seen), _Kind.of(one.nest for one in seen)
    cut_s = np.array([one.cut_s for one in seen], dtype=float)
    counts = np.array([one.stops for one in seen], dtype=float)
    rates, clumps = np.empty(draws), np.empty((draws, 2))
    weights = [np.zeros(len(seen)), np.zeros(len(seen))]
    for sweep in range(-UNUSED, draws):
        weighed = cut_s * nests.each
        rate = days.draw(chance, counts, weighed, middle)
        if sweep >= 0:
            weights[0] += weighed / draws
        weighed = cut_s * days.each
        rate = nests.draw(chance, counts, weighed, middle)
        if sweep >= 0:
            weights[1] += weighed / draws
            rates[sweep], clumps[sweep] = rate, (days.clump, nests.clump)
    of_day = days.seen(counts, weights[0])
    return StopRate(
        rates,
        clumps[:, 0],
        clumps[:, 1],
        {one.day: of_day[one.day] for one in seen},
        nests.seen(counts, weights[1]),
    )


@dataclass
class _Kind:
    """Days or nests: which one each row of what was seen belongs to, and the current draw of their
    clump and of the factor of each row."""

    names: dict[Hashable, int]
    of_row: Ints
    each: Floats
    clump: float = 2.0

    @classmethod
    def of(cls, values: Iterable[Hashable]) -> _Kind:
        names: dict[Hashable, int] = {}
        rows = [names.setdefault(one, len(names)) for one in values]
        return cls(names, np.array(rows, dtype=np.int64), np.ones(len(rows)))

    def draw(
        self, chance: np.random.Generator, counts: Floats, cut_s: Floats, middle: float
    ) -> float:
        """Draws all of it, and the rate with it."""
        count: Floats = np.bincount(self.of_row, counts, len(self.names)).astype(float)
        time_s = np.bincount(self.of_row, cut_s, len(self.names))
        log_rates = np.log(middle) + RATE_SD * np.linspace(-3, 3, GRID)
        rates = np.exp(log_rates)[:, None, None]
        clumps = np.array(CLUMPS)[None, :, None]
        prior = -0.5 * ((log_rates - np.log(middle)) / RATE_SD) ** 2
        fits = prior[:, None] + np.log(BELIEF) + _rising(count)
        if len(count):
            # (rate x time / (clump + rate x time))^count (clump / (clump + rate x time))^clump
            whole = np.log(clumps + rates * time_s)
            fits = fits + count.sum() * log_rates[:, None] - (whole @ count)
            fits = fits + np.array(CLUMPS) * (np.log(clumps) - whole).sum(axis=2)
        weight = np.exp(fits - fits.max()).reshape(-1)
        place = int(np.searchsorted(np.cumsum(weight), chance.random() * weight.sum()))
        row, column = divmod(min(place, weight.size - 1), len(CLUMPS))
        jitter = (chance.random() - 0.5) * 6 * RATE_SD / (GRID - 1)
        rate = float(np.exp(log_rates[row] + jitter))
        self.clump = CLUMPS[column]
        factors = chance.gamma(self.clump + count) / (self.clump + rate * time_s)
        self.each = factors[self.of_row]
        return rate

    def seen(self, counts: Floats, cut_s: Floats) -> dict[Hashable, Seen]:
        count = np.bincount(self.of_row, counts, len(self.names))
        time_s = np.bincount(self.of_row, cut_s, len(self.names))
        return {name: (int(count[at]), float(time_s[at])) for name, at in self.names.items()}


def _rising(count: Floats) -> Floats:
    """Of each clump the logarithm of Gamma(clump + count) / Gamma(clump), all counts together."""
    return np.array(
        [
            sum(math.lgamma(clump + one) - math.lgamma(clump) for one in count if one)
            for clump in CLUMPS
        ]
    )
