from __future__ import annotations

import pytest

from planning.calc.quote import Score, likely, material_split, score


def test_the_limits_of_chance_are_the_binomial_ones():
    """Of 25 at .2, P(2 or fewer) = .0982 and P(1 or fewer) = .0274; P(8 or fewer) = .9532 (any
    table): nine times in ten 2 to 8."""
    assert likely([0.2] * 25) == (2, 8)
    # one at .1 and one at .3: none .63, one .34, both .03
    assert likely([0.1, 0.3]) == (0, 1)
    assert likely([0.5] * 60) == (24, 36)


def test_a_score_holds_the_promise_against_chance():
    assert score([(0.2, n < 5) for n in range(25)]) == Score(5, 25, pytest.approx(5.0), 2, 8)
    assert score([(0.2, n < 5) for n in range(25)]).as_promised is True
    assert score([(0.2, n < 9) for n in range(25)]).as_promised is False
    assert score([(0.2, n < 1) for n in range(25)]).as_promised is False
    assert score([(0.2, False)] * 4).as_promised is None
    assert score([]) is None


def test_price_and_usage_sum_to_the_difference():
    # quoted 4 sheets at 300, used 5 at 330: 1650 - 1200 = 450 = 30 x 5 + 1 x 300
    split = material_split(300, 4, 330, 5)
    assert (split.price, split.usage) == (150, 300)
    assert split.price + split.usage == 330 * 5 - 300 * 4
