"""How good statements about the future were, once the truth is in.

Sources, from memory: Brier 1950; Dawid 1984 (probability integral transform); Gneiting and
Raftery 2007 (continuous ranked probability score, its quantile form)."""

from __future__ import annotations

import math
from collections.abc import Sequence
from statistics import NormalDist
from typing import Final

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

LEVELS: Final = tuple(round(0.05 * at, 2) for at in range(1, 20))  # the quantiles a statement keeps
NORMAL: Final = NormalDist()
HELD_BACK: Final = 20  # statements that say nothing yet, for the scale below
LATEST: Final = 60
LEAST_SCALE, MOST_SCALE = 0.7, 2.0


def pit(drawn: Floats, truth: float) -> float:
    """The share of the draws below what happened, between 0 and 1 and never either."""
    below = float((drawn < truth).sum()) + 0.5 * float((drawn == truth).sum())
    return (below + 0.5) / (len(drawn) + 1)


def crps(quantiles: Sequence[float], levels: Sequence[float], truth: float) -> float:
    """Twice the mean pinball loss over `levels`, in the unit of the quantiles; less is better."""
    losses = [
        (truth - quantile) * level if truth >= quantile else (quantile - truth) * (1 - level)
        for quantile, level in zip(quantiles, levels, strict=True)
    ]
    return 2 * math.fsum(losses) / len(losses)


def brier(said: Sequence[float], done: Sequence[bool]) -> float:
    """Mean squared difference of a chance and what happened: 0 is perfect."""
    return math.fsum((p - d) ** 2 for p, d in zip(said, done, strict=True)) / len(said)


def skill(said: Sequence[float], done: Sequence[bool]) -> float | None:
    """1 - Brier / Brier of always saying the base rate; None where all or none happened."""
    rate = sum(done) / len(done)
    if rate in (0, 1):
        return None
    return 1 - brier(said, done) / (rate * (1 - rate))


def scale(pits: Sequence[float]) -> float:
    """By how much ranges must be widened (above 1) for the last statements to have held as said:
    k^2 = (20 + sum z^2) / (20 + n) over the last 60, z the normal quantile of each PIT."""
    last = pits[-LATEST:]
    square = math.fsum(NORMAL.inv_cdf(one) ** 2 for one in last)
    k = math.sqrt((HELD_BACK + square) / (HELD_BACK + len(last)))
    return min(max(k, LEAST_SCALE), MOST_SCALE)


def level_asked(level: float, k: float) -> float:
    """Which quantile of the draws to show for `level` after scaling by `k`."""
    return NORMAL.cdf(k * NORMAL.inv_cdf(level))


def widened(drawn: Floats, k: float) -> Floats:
    """Draws whose every quantile is the one `level_asked` shows; each keeps its rank, so that sums
    and the latest of several stay what they were drawn for. Draws may be infinite."""
    if k == 1.0 or not len(drawn):
        return drawn
    order = np.argsort(drawn, kind="stable")
    levels = (np.arange(len(drawn)) + 0.5) / len(drawn)
    asked = np.array([level_asked(float(level), k) for level in levels])
    places = np.clip(np.ceil(asked * len(drawn)).astype(int) - 1, 0, len(drawn) - 1)
    found = np.empty_like(drawn)
    found[order] = drawn[order][places]
    return found


def scaled(raw: float, k: float) -> float:
    """The PIT of a statement whose ranges were scaled by `k`."""
    return NORMAL.cdf(NORMAL.inv_cdf(raw) / k)


def chance_of(count: int, share: float, outside: float = 0.1) -> tuple[int, int]:
    """Between which numbers of `count` statements that hold with `share` chance leaves all but
    `outside` of cases (binomial, equal tails)."""
    weights = [
        math.exp(
            math.lgamma(count + 1) - math.lgamma(k + 1) - math.lgamma(count - k + 1)
            + k * math.log(share) + (count - k) * math.log1p(-share)
        )
        for k in range(count + 1)
    ]  # fmt: skip
    summed = np.cumsum(weights)
    low = int(np.searchsorted(summed, outside / 2))
    high = int(np.searchsorted(summed, 1 - outside / 2))
    return low, high
