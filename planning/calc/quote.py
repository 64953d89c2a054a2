"""How quotes fared against the chance they promised."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

NEEDED = 5  # our assumption: fewer quotes say nothing of a promise
SURE = 1.96  # of the binomial error: beyond it the promise was not kept (19 times in 20)


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
