from __future__ import annotations

import math

import pytest

from planning.calc.life.air import excess


def test_fourteen_where_six_were_expected():
    """By hand: P(N >= 14 | 6) = 1 - sum of e^-6 6^k / k!, k = 0 to 13."""
    below = sum(math.exp(-6) * 6**k / math.factorial(k) for k in range(14))
    found = excess(14, 6.0)
    assert found.chance == pytest.approx(1 - below)
    assert found.unlikely
    assert not excess(8, 6.0).unlikely
    assert excess(0, 6.0).chance == 1


def test_where_nothing_was_expected_nothing_is_said():
    assert excess(3, 0.0).chance is None
    assert not excess(3, 0.0).unlikely
