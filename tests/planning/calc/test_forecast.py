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
    1.372 (10), 1.310 (30); here with three more digits."""
    for freedom, value in ((4, 1.533206), (6, 1.439756), (10, 1.372184), (30, 1.310415)):
        assert student_t(0.9, freedom) == pytest.approx(value, rel=3e-4)


SPREAD = [math.exp(log) for log in (-0.2, -0.1, 0.0, 0.1, 0.2)]


def test_five_runs_are_enough_and_one_run_ahead_is_worked_by_hand():
    """Logs of mean 0 and variance (2 x 0.04 + 2 x 0.01)/4 = 0.025. One run ahead: the middle is
    the plan; wide = t(.9, 4) sqrt(0.025 + 0.025/5) = 1.5332 x 0.173205 = 0.26556, times e^-.26556 =
    0.76678."""
    found = forecast([1000.0], SPREAD)
    assert found.runs == found.needed == 5
    assert found.middle_s == pytest.approx(1000)
    assert found.low_s == pytest.approx(766.78, rel=2e-4)
    assert found.high_s == pytest.approx(1e6 / 766.78, rel=2e-4)


def test_two_equal_runs_ahead_are_worked_by_hand():
    """Half of the variance each: ln(1 + (e^.025 - 1)/2) = 0.0125781. The middle: e^(.0125 -
    .00628907) = 1.00623; wide = 1.5332 sqrt(0.0125781 + 0.005) = 0.203275."""
    found = forecast([500.0, 500.0], SPREAD)
    assert found.middle_s == pytest.approx(1006.230, rel=1e-6)
    assert found.high_s / found.middle_s == pytest.approx(math.exp(0.203275), rel=1e-4)
    assert found.middle_s / found.low_s == pytest.approx(math.exp(0.203275), rel=1e-4)


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
