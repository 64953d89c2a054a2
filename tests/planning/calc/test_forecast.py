from __future__ import annotations

import math
import random

import pytest

from planning.calc.forecast import forecast, student_t


def test_too_few_runs_give_the_plan_only_and_say_so():
    found = forecast([3600.0, 1800.0], [1.1] * 4)
    assert (found.plan_s, found.middle_s, found.low_s, found.high_s) == (5400.0, None, None, None)
    assert "4 recent runs, 5 needed" in found.basis


def test_steady_runs_scale_the_plan():
    found = forecast([3600.0], [1.2] * 10)
    assert found.middle_s == pytest.approx(4320)
    assert found.low_s == pytest.approx(4320)
    assert forecast([], [1.2] * 10).middle_s == 0.0


def test_student_quantiles_match_the_table():
    """Student's t, 90 % one-sided, printed in every statistics textbook: 1.533 (4), 1.440 (6),
    1.372 (10), 1.310 (30)."""
    for freedom, value in ((4, 1.533), (6, 1.440), (10, 1.372), (30, 1.310)):
        assert student_t(0.9, freedom) == pytest.approx(value, rel=2e-3)


def test_the_range_holds_eight_times_in_ten():
    """Simulated here with a fixed seed: shops with ratios of spread .15, twelve recent runs, five
    ahead. Of 2,000 tries 76 to 84 % must fall in the range (80 % expected, error below 1 %)."""
    dice = random.Random(7)
    inside = 0
    for _ in range(2000):
        shift = dice.gauss(0.1, 0.1)
        ratios = [math.exp(dice.gauss(shift, 0.15)) for _ in range(12)]
        ahead = [dice.uniform(600, 5000) for _ in range(5)]
        real = sum(each * math.exp(dice.gauss(shift, 0.15)) for each in ahead)
        found = forecast(ahead, ratios)
        inside += found.low_s <= real <= found.high_s
    assert 0.76 <= inside / 2000 <= 0.84
