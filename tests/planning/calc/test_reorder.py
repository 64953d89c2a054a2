"""Reorder points against scipy's negative binomial, and worked cases."""

from __future__ import annotations

import random
import statistics

import pytest
from scipy.stats import nbinom

from planning.calc.reorder import Reorder, order_quantity, reorder


@pytest.mark.parametrize("lead_days", [3, 7, 14, 40, 90])
@pytest.mark.parametrize(
    "weekly", [[1, 0, 2, 5, 0, 1], [4] * 13, [0, 0, 0, 9], [30, 41, 18, 25], [100] * 13]
)
def test_the_point_is_the_quantile_that_scipy_gives(weekly, lead_days):
    n, mean = len(weekly), statistics.mean(weekly)
    weeks = lead_days / 7
    variance = max(mean, statistics.variance(weekly)) * (weeks + weeks**2 / n)
    m = mean * weeks
    expected = nbinom.ppf(0.95, m * m / (variance - m), m / variance)
    found = reorder(weekly, lead_days)
    assert found is not None
    assert found.point == expected


def test_the_drawer_lasts_as_often_as_it_says():
    """Use of about 3 a week, doubled in some weeks; the point from 13 weeks against the two that
    follow, 2,000 times: 95 in 100, and a little more because a count cannot be halved."""
    draw = random.Random(7)

    def week():
        rate = 3.0 * draw.choice((0.6, 1.0, 1.0, 2.0))
        return sum(draw.random() < rate / 60 for _ in range(60))

    held = 0
    for _ in range(2_000):
        found = reorder([week() for _ in range(13)], 14)
        assert found is not None
        held += week() + week() <= found.point
    assert 0.93 <= held / 2_000 <= 0.99


def test_few_weeks_say_nothing_and_no_use_orders_nothing():
    assert reorder([3, 3, 3], 7) is None
    assert reorder([0] * 8, 7) == Reorder(0.0, 0, 0)


@pytest.mark.parametrize(
    ("position", "needed", "pack", "order"),
    [
        (9, 0, 1, 0),  # above the point
        (8, 0, 1, 12),  # at it: up to 20
        (8, 0, 5, 15),  # whole packs
        (9, 14, 1, 11),  # the list needs more than there is
        (9, 30, 1, 21),  # and more than the usual level
    ],
)
def test_what_is_ordered(position, needed, pack, order):
    assert order_quantity(Reorder(3.0, 8, 20), position, needed, pack) == order
