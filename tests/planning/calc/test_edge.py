from __future__ import annotations

import math
import random

import pytest

from planning.calc.edge import (
    RANKS,
    PredictedU,
    asked_limit_mm,
    edge_words,
    predict_u,
    range_words,
    verdict,
)


def test_limits_are_those_of_iso_9013():
    # ISO 9013:2017 table of u: range 3 at 6 mm is 0.4 + 0.01 x 6 = 0.460; range 2 at 10 mm 0.220
    assert asked_limit_mm(3, 6.0) == pytest.approx(0.460)
    assert asked_limit_mm(2, 10.0) == pytest.approx(0.220)
    assert asked_limit_mm(None, 6.0) is None
    assert asked_limit_mm(3, 200.0) is None  # the standard ends at 150 mm
    with pytest.raises(ValueError, match="u range 7"):
        asked_limit_mm(7, 6.0)


def test_the_interval_is_the_prediction_interval_of_a_lognormal():
    # ln u = -2, -1, 0, 1, 2 x 0.1 - 1: mean -1, s = sqrt(10 x 0.01 / 4) = 0.158114;
    # t(0.95, 4) = 2.1318 (any table); width 2.1318 x 0.158114 x sqrt(1.2) = 0.369245
    found = predict_u([math.exp(-1 + 0.1 * step) for step in (-2, -1, 0, 1, 2)])
    assert found.u_mm == pytest.approx(math.exp(-1))
    assert found.high_mm == pytest.approx(math.exp(-1 + 0.369245), rel=2e-3)
    assert found.low_mm == pytest.approx(math.exp(-1 - 0.369245), rel=2e-3)
    assert (found.checks, found.basis) == (5, "checks")


def test_too_few_checks_leave_the_charts_figure_or_nothing():
    assert predict_u([0.2] * 4, 0.3) == PredictedU(0.3, None, None, 4, 5, "chart")
    assert predict_u([]) == PredictedU(None, None, None, 0, 5, "unknown")


def test_a_u_of_zero_is_read_as_the_least_a_gauge_shows():
    found = predict_u([0.0] * 6)
    assert (found.low_mm, found.u_mm, found.high_mm) == pytest.approx((0.01, 0.01, 0.01))
    with pytest.raises(ValueError, match="not below zero"):
        predict_u([0.1, -0.1])


def test_nine_in_ten_of_the_next_cuts_lie_inside():
    # A simulated shop: u lognormal with a spread of 0.25. Whatever the count of checks.
    dice = random.Random(4)
    inside = tried = 0
    for _ in range(3000):
        checks = [math.exp(dice.gauss(-1.2, 0.25)) for _ in range(dice.randint(5, 20))]
        found = predict_u(checks)
        nxt = math.exp(dice.gauss(-1.2, 0.25))
        inside += found.low_mm <= nxt <= found.high_mm
        tried += 1
    assert 0.88 <= inside / tried <= 0.92  # 3000 tries: binomial error 0.0055


def test_it_meets_only_where_the_upper_end_is_inside():
    six = 6.0  # range 3: 0.460, range 2: 0.192
    tight = PredictedU(0.2, 0.15, 0.28, 9, 5, "checks")
    assert verdict(tight, 3, six) == "meets"
    assert verdict(tight, 2, six) == "fails"
    wide = PredictedU(0.3, 0.15, 0.6, 9, 5, "checks")
    assert verdict(wide, 3, six) == "may_not"
    assert verdict(PredictedU(0.3, None, None, 2, 5, "chart"), 3, six) == "may_not"
    assert verdict(PredictedU(None, None, None, 2, 5, "unknown"), 3, six) == "unknown"
    assert verdict(wide, None, six) == "not_asked"


def test_an_upper_end_on_the_limit_is_inside():
    assert verdict(PredictedU(0.3, 0.2, asked_limit_mm(3, 6.0), 9, 5, "checks"), 3, 6.0) == "meets"


def test_ranges_are_said_in_words():
    # at 6 mm: range 1 to 0.068, 2 to 0.192, 3 to 0.460, 5 to 1.41
    assert range_words(PredictedU(0.1, 0.07, 0.12, 9, 5, "checks"), 6.0) == "u range 2"
    assert range_words(PredictedU(0.2, 0.15, 0.28, 9, 5, "checks"), 6.0) == "u range 2 to 3"
    assert range_words(PredictedU(1.3, 1.0, 2.0, 9, 5, "checks"), 6.0) == "u range 5 to outside"
    assert range_words(PredictedU(2.0, None, None, 0, 5, "chart"), 6.0) == "outside"
    assert range_words(PredictedU(None, None, None, 0, 5, "unknown"), 6.0) == ""


@pytest.mark.parametrize(
    ("step", "gas", "word"),
    [
        ("weld", "air", "pores"),
        ("weld", "oxygen", "oxide"),
        ("bend", "air", "dies"),
        ("powder coat", "air", "oxide lifts the coat"),
        ("coat", "air", "coat"),
        ("", "air", "no next step"),
    ],
)
def test_the_next_step_makes_its_own_of_an_edge(step, gas, word):
    assert word in edge_words(step, gas, by_bench=True)


def test_the_standards_own_ends_are_classed():
    """ISO 9013 holds from 0.5 to 150 mm, both among them: u range 4 is 0.8 + 0.02 x thickness."""
    assert asked_limit_mm(4, 0.5) == pytest.approx(0.81)
    assert asked_limit_mm(4, 150.0) == pytest.approx(3.8)
    assert asked_limit_mm(4, 0.49) is None


def test_no_question_is_as_good_as_a_yes_and_unknown_is_worse_than_doubt():
    assert RANKS["not_asked"] == RANKS["meets"]
    assert RANKS["meets"] < RANKS["may_not"] < RANKS["unknown"] < RANKS["fails"]
