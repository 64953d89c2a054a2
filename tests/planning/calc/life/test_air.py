from __future__ import annotations

import math

import numpy as np
import pytest

from planning.calc.life.air import ever, excess, usual


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


def _two_close(mean, windows):
    """P that two of a Poisson process come within one window somewhere, exactly: n points with
    gaps above 1 fill (windows - n + 1)^n / n! of the whole."""
    far = 0.0
    for n in range(int(windows) + 2):
        room = 1.0 if n == 0 else max(0.0, windows - (n - 1))
        far += mean**n * room**n / math.factorial(n)
    return 1 - math.exp(-mean * windows) * far


@pytest.mark.parametrize(("mean", "windows"), [(0.05, 26), (0.2, 26), (0.1, 2), (0.1, 3), (0.3, 8)])
def test_two_close_together_are_as_frequent_as_the_exact_sum_says(mean, windows):
    assert ever(2, mean, windows) == pytest.approx(_two_close(mean, windows), rel=2e-3)


def test_a_year_of_looking_is_as_a_year_drawn_at_random():
    """20 000 years of 26 windows with 4 expected: 13 or more in some window in 4.7 of 100."""
    random, years, seen = np.random.default_rng(5), 4000, 0
    for _ in range(years):
        at = np.sort(random.random(random.poisson(4.0 * 26)) * 26)
        seen += bool((at[11:] - at[:-11]).min(initial=9) <= 1)
    error = math.sqrt(seen) / years
    assert ever(12, 4.0, 26.0) == pytest.approx(seen / years, abs=3 * error)


def test_what_is_rare_once_is_common_in_a_year():
    """9 where 4 are expected: 2 in 100 in one fortnight, 4 years of 5 in a year of them."""
    once = excess(9, 4.0, windows=26)
    assert once.chance == pytest.approx(0.0214, abs=5e-4)
    assert once.year == pytest.approx(0.842, abs=0.01)
    assert not once.rare
    assert excess(18, 4.0, windows=26).rare
    assert not excess(14, 4.0, windows=26, looks=8).rare  # 1.4 in 100, eight times
    assert excess(14, 4.0, windows=26).rare


def test_an_expectation_hardly_known_makes_many_less_of_a_wonder():
    """Gamma of mean 4 and variance 4: negative binomial of size 4, p 1/2. By hand
    P(N >= 9) = 1 - sum of C(n + 3, 3) / 2^(n + 4), n = 0 to 8."""
    below = sum(math.comb(n + 3, 3) / 2 ** (n + 4) for n in range(9))
    assert excess(9, 4.0, 4.0).chance == pytest.approx(1 - below)


def test_the_usual_range_of_chance():
    """Poisson of 10: P(N <= 4) = .029, P(N <= 5) = .067; P(N <= 14) = .917, P(N <= 15) = .951."""
    assert usual(10.0, 0.0, 0.90) == (5, 15)
    low, high = usual(10.0, 25.0, 0.90)
    assert low < 5
    assert high > 15
