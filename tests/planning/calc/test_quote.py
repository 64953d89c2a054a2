from __future__ import annotations

import math
import random

import pytest

from planning.calc.factors import NotEnoughData, fit
from planning.calc.quote import (
    Score,
    Spread,
    allowed,
    material_split,
    own_spread,
    pooled_spread,
    score,
)


def test_the_price_is_the_formula_by_hand():
    # ln ratios 0, .1, .2, .1, .1: mean .1, s = sqrt(.02/4) = .0707107, se = .0316228
    # sqrt(.005 + .001) = .0774597; z(.8) = .841621 (any table): exp(.1 + .0651917) = 1.179619
    found = own_spread([0.0, 0.1, 0.2, 0.1, 0.1])
    assert (found.mu, found.n, found.pooled) == (pytest.approx(0.1), 5, False)
    assert found.sigma == pytest.approx(0.0707107, abs=1e-7)
    assert found.se == pytest.approx(0.0316228, abs=1e-7)
    assert allowed(100_000, found, 0.2) == pytest.approx(117_961.9, abs=1)
    # at even odds the allowance is the middle alone
    assert allowed(100_000, found, 0.5) == pytest.approx(100_000 * math.exp(0.1))


def test_too_few_runs_say_how_many_are_needed():
    assert own_spread([0.1] * 4) == NotEnoughData(4, 5)
    with pytest.raises(ValueError, match="not between"):
        allowed(1, Spread(0, 0.1, 0, 9, False, 9), 0.6)


def test_the_pooled_shop_is_wider_than_a_cell_and_says_so():
    dice = random.Random(3)
    cells = {key: [dice.gauss(0.1 * key, 0.1) for _ in range(30)] for key in range(6)}
    pooled = pooled_spread(fit(cells), own=2)
    own = own_spread(cells[0])
    # cells from 0.0 to 0.5: tau about 0.19, and sigma 0.1 in it
    assert pooled.sigma == pytest.approx(math.hypot(0.19, 0.1), rel=0.25)
    assert pooled.sigma > own.sigma
    assert pooled.mu == pytest.approx(0.25, abs=0.05)
    assert pooled.words.startswith("not enough data (2, needed 5): the whole shop's 180 runs")


@pytest.mark.parametrize("chance", [0.1, 0.2, 0.35])
def test_overruns_come_as_often_as_promised(chance):
    # A simulated shop of many cells with 20 runs each, quoting one more run of each.
    dice = random.Random(7)
    quotes = []
    for _ in range(1500):
        mu, sigma = dice.gauss(0.08, 0.1), dice.uniform(0.05, 0.25)
        spread = own_spread([dice.gauss(mu, sigma) for _ in range(20)])
        quotes.append((chance, math.exp(dice.gauss(mu, sigma)) > allowed(1.0, spread, chance)))
    found = score(quotes)
    # z in place of Student's t at 19 degrees of freedom lets up to 0.006 more through
    assert found.share == pytest.approx(chance, abs=2.5 * found.error + 0.006)


def test_work_never_done_overruns_as_promised_too():
    dice = random.Random(9)
    quotes = []
    for _ in range(300):
        truths = [dice.gauss(0.1, 0.12) for _ in range(8)]
        cells = {key: [dice.gauss(mu, 0.1) for _ in range(8)] for key, mu in enumerate(truths[:7])}
        spread = pooled_spread(fit(cells), own=0)
        actual = math.exp(dice.gauss(truths[7], 0.1))
        quotes.append((0.2, actual > allowed(1.0, spread, 0.2)))
    found = score(quotes)
    assert found.share == pytest.approx(0.2, abs=2.5 * found.error)


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
