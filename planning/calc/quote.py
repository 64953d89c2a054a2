"""How quotes fared against the chance they promised."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import accumulate

NEEDED = 5  # our assumption: fewer quotes say nothing of a promise
LATEST = 60  # quotes that a score is of
OUTSIDE = 0.1  # so often chance alone leaves the limits


@dataclass(frozen=True, slots=True)
class Score:
    """Overruns of `n` quotes; `expected` of them were promised, and from `low` to `high` would be
    chance nine times in ten."""

    overruns: int
    n: int
    expected: float
    low: int
    high: int

    @property
    def as_promised(self) -> bool | None:
        """None below `NEEDED` quotes."""
        return None if self.n < NEEDED else self.low <= self.overruns <= self.high


def score(quotes: Sequence[tuple[float, bool]]) -> Score | None:
    """`quotes` are (chance promised, whether the actual exceeded it); None where there are none."""
    if not quotes:
        return None
    chances = [chance for chance, _ in quotes]
    low, high = likely(chances)
    overruns = sum(over for _, over in quotes)
    return Score(overruns, len(quotes), math.fsum(chances), low, high)


def likely(chances: Sequence[float]) -> tuple[int, int]:
    """Between which numbers of events, each with a chance of its own, all but `OUTSIDE` of cases
    lie, equal tails: exact, by adding one event after the other."""
    weights = [1.0]
    for chance in chances:
        with_it = [0.0, *(weight * chance for weight in weights)]
        without = [*(weight * (1 - chance) for weight in weights), 0.0]
        weights = [one + other for one, other in zip(with_it, without, strict=True)]
    summed = list(accumulate(weights))
    low = next(count for count, share in enumerate(summed) if share >= OUTSIDE / 2)
    return low, next(count for count, share in enumerate(summed) if share >= 1 - OUTSIDE / 2)


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
