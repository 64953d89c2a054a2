from __future__ import annotations

import math

import pytest

from planning.calc.quote import (
    Score,
    material_split,
    score,
)


def test_a_score_holds_the_promise_against_its_binomial_error():
    # 25 quotes at 20 %: error sqrt(.2 x .8 / 25) = 0.08; 5 are just it, 10 are 40 %, 2.5 errors off
    five = score([(0.2, n < 5) for n in range(25)])
    assert (five.share, five.error) == (0.2, pytest.approx(0.08))
    assert five.as_promised is True
    assert score([(0.2, n < 10) for n in range(25)]).as_promised is False
    assert score([(0.2, False)] * 4).as_promised is None
    assert score([]) is None
    # mixed: 0.1 and 0.3 promise 0.2 on the mean; error sqrt(.09 + .21) / 2
    mixed = score([(0.1, False), (0.3, True)])
    assert mixed == Score(1, 2, pytest.approx(0.2), pytest.approx(math.sqrt(0.30) / 2))


def test_price_and_usage_sum_to_the_difference():
    # quoted 4 sheets at 300, used 5 at 330: 1650 - 1200 = 450 = 30 x 5 + 1 x 300
    split = material_split(300, 4, 330, 5)
    assert (split.price, split.usage) == (150, 300)
    assert split.price + split.usage == 330 * 5 - 300 * 4


def test_a_promise_is_judged_from_the_fifth_job_on():
    """One overrun of five at a chance of 0.2 is what was promised."""
    assert Score(1, 5, 0.2, 0.18).as_promised is True
    assert Score(1, 4, 0.2, 0.2).as_promised is None
