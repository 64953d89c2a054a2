"""Scores of forecasts against closed forms and worked values."""

from __future__ import annotations

import math

import numpy as np
import pytest

from planning.calc.ahead.scores import (
    NORMAL,
    brier,
    chance_of,
    crps,
    level_asked,
    pit,
    scale,
    skill,
    widened,
)


def test_crps_of_many_quantiles_is_the_closed_form_of_a_normal():
    # Gneiting and Raftery 2007: sd (z (2 F(z) - 1) + 2 f(z) - 1 / sqrt(pi)), from memory
    levels = (np.arange(2000) + 0.5) / 2000
    quantiles = [3 + 2 * NORMAL.inv_cdf(level) for level in levels]
    for truth in (-1.0, 3.0, 6.5):
        z = (truth - 3) / 2
        closed = 2 * (z * (2 * NORMAL.cdf(z) - 1) + 2 * NORMAL.pdf(z) - 1 / math.sqrt(math.pi))
        assert crps(quantiles, list(levels), truth) == pytest.approx(closed, rel=2e-3)


def test_brier_and_skill():
    # four days said .9 .9 .1 .5, it rained on the first two: (.01 + .01 + .01 + .25) / 4
    assert brier([0.9, 0.9, 0.1, 0.5], [True, True, False, False]) == pytest.approx(0.07)
    assert skill([0.9, 0.9, 0.1, 0.5], [True, True, False, False]) == pytest.approx(1 - 0.07 / 0.25)
    assert skill([0.9, 0.8], [True, True]) is None


def test_chance_of_sixty_ranges_that_hold_eighty_in_a_hundred():
    assert chance_of(60, 0.8) == (43, 53)
    assert chance_of(60, 0.8, outside=0.05) == (42, 54)


def test_chance_is_the_binomial_sum():
    low, high = chance_of(10, 0.5, outside=0.1)
    below = sum(math.comb(10, k) for k in range(low)) / 2**10
    above = sum(math.comb(10, k) for k in range(high + 1, 11)) / 2**10
    assert below <= 0.05 < below + math.comb(10, low) / 2**10
    assert above <= 0.05 < above + math.comb(10, high) / 2**10


def test_pit_is_never_a_bound_and_counts_ties_half():
    drawn = np.array([1.0, 2.0, 2.0, 3.0])
    assert pit(drawn, 0.0) == pytest.approx(0.5 / 5)
    assert pit(drawn, 9.0) == pytest.approx(4.5 / 5)
    assert pit(drawn, 2.0) == pytest.approx(0.5)


def test_ranges_are_widened_by_how_far_truth_lay():
    assert scale([]) == 1
    assert scale([0.5] * 60) == pytest.approx(math.sqrt(20 / 80)) or scale([0.5] * 60) == 0.7
    # every truth at the 2.5 % or 97.5 % point: z^2 = 3.84 each
    wide = scale([0.025, 0.975] * 30)
    assert wide == pytest.approx(math.sqrt((20 + 60 * 1.959964**2) / 80), rel=1e-5)
    assert scale([1e-9] * 60) == 2.0
    assert level_asked(0.9, wide) == pytest.approx(NORMAL.cdf(wide * 1.2815516), rel=1e-6)
    assert scale([0.5] * 500 + [0.025, 0.975] * 30) == wide  # the last sixty alone


def test_widened_draws_keep_their_ranks_and_have_the_quantiles_that_are_shown():
    drawn = np.append(np.random.default_rng(3).permutation(999) * 1.0, math.inf)
    assert widened(drawn, 1.0) is drawn
    wide = widened(drawn, 1.6)
    in_order = wide[np.argsort(drawn)]
    assert (in_order[1:] >= in_order[:-1]).all()
    # 0.9: normal value 1.2816 x 1.6 = 2.0505, below which lie 0.9798
    assert np.sort(wide)[899] == pytest.approx(979, abs=1)
    assert np.sort(wide)[499] == pytest.approx(499, abs=1)
    assert np.isinf(wide).sum() > 1
