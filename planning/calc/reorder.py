"""When a wear part is to be bought, from what was used of it and how long it takes to come."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from scipy.special import betainc

# Our assumptions: the chance that the drawer lasts until the order comes, how many weeks of use
# an order is for, and how many weeks must be on record before use says anything.
SERVICE = 0.95
COVER_WEEKS = 4.0
LEAST_WEEKS = 4


@dataclass(frozen=True, slots=True)
class Reorder:
    """`per_week` pieces used a week on average, `point` the stock at which to order, `up_to` what
    stock and order together should then be."""

    per_week: float
    point: int
    up_to: int


def reorder(weekly: Sequence[int], lead_days: int, *, service: float = SERVICE) -> Reorder | None:
    """Pieces used in each whole week, newest or oldest first. None with fewer than `LEAST_WEEKS`.

    Use until the order comes has mean m = L x mean, L in weeks, and variance
    s2 x (L + L^2 / n): that of the use itself, and that of a mean known from n weeks only; s2 is
    the weeks' own variance, no less than their mean. The point is the least count that this use
    stays within with a chance of `service`, by a negative binomial of that mean and variance.
    Weeks are taken as alike and independent: a season, or a job that eats one set, is not in it.
    """
    n = len(weekly)
    if n < LEAST_WEEKS:
        return None
    mean = sum(weekly) / n
    if mean == 0:
        return Reorder(0.0, 0, 0)
    spread = max(mean, sum((one - mean) ** 2 for one in weekly) / (n - 1))
    weeks = lead_days / 7.0
    point = _within(mean * weeks, spread * (weeks + weeks * weeks / n), service)
    return Reorder(mean, point, point + math.ceil(COVER_WEEKS * mean))


def order_quantity(found: Reorder, position: int, needed: int, pack: int = 1) -> int:
    """What to order: nothing while stock and orders (`position`) are above the point and hold what
    the list needs; else up to the level, whole packs."""
    if position > found.point and position >= needed:
        return 0
    lack = max(found.up_to, needed) - position
    return max(0, math.ceil(lack / pack) * pack)


def _within(mean: float, variance: float, chance: float) -> int:
    """The least k with P(use <= k) >= chance; the variance is above the mean."""
    if mean <= 0:
        return 0
    size = mean * mean / (variance - mean)
    p = mean / variance

    def within(k: int) -> bool:
        return bool(betainc(size, k + 1, p) >= chance)

    high = 1
    while not within(high):
        high *= 2
    low = -1  # not within; `high` is
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (low, middle) if within(middle) else (middle, high)
    return high
