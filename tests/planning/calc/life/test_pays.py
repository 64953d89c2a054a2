"""Barlow & Proschan 1965, ch. 4, through the shop's own costs."""

from __future__ import annotations

import math

import numpy as np
import pytest

from planning.calc.life.costs import ChangeCosts, Extra
from planning.calc.life.pair import Side, pair_or_apart
from planning.calc.life.pays import change_age, pays
from planning.calc.life.posterior import Posterior
from planning.calc.life.records import Life
from planning.calc.life.replacement import of_posterior


def _sure(shape: float, scale: float, ends: int = 20) -> Posterior:
    return Posterior(np.array([shape]), np.array([scale]), np.array([1.0]), ends, ends)


def _extra(total: float, reach: float = 0.0) -> Extra:
    return Extra(0.0, 0.0, total, total, 0.0, total - reach, total + reach, 9, "part")


def _costs(price: float, planned: float, failed: float, reach: float = 0.0) -> ChangeCosts:
    return ChangeCosts(price, _extra(failed, reach), _extra(planned))


def test_what_a_known_life_saves_is_the_published_difference():
    """Shape 2.5, scale 1000, 1 against 5: age 493.047, 0.00346204 a start, 0.00563530 to the end,
    as a published text on system analysis prints it (`test_replacement`)."""
    found = pays(_sure(2.5, 1000), _costs(0.5, 0.5, 4.5))
    assert found.verdict == "pays"
    assert found.age == pytest.approx(493.047, rel=5e-3)
    assert found.saved == pytest.approx(0.00563530 - 0.00346204, rel=2e-3)
    # nothing is uncertain: the range is the figure
    assert (found.saved_low, found.saved_high) == pytest.approx((found.saved,) * 2, rel=2e-3)
    assert found.chance == 1


@pytest.mark.parametrize("shape", [0.7, 1.0])
def test_pieces_that_do_not_wear_are_run_to_their_end(shape):
    found = pays(_sure(shape, 1000), _costs(1, 0, 9))
    assert (found.verdict, found.age, found.saved) == ("never", None, 0)


def test_a_failure_no_dearer_than_a_change_is_waited_for():
    assert pays(_sure(3, 1000), _costs(1, 1, 1)).verdict == "never"


def test_two_ends_are_too_few_to_throw_pieces_away_for():
    lives = Posterior.of([Life(500, True), Life(520, True)], 600)
    assert pays(lives, _costs(1, 0, 9)).verdict == "thin"


def test_a_cost_that_may_be_nothing_makes_it_unsure():
    """A failure costs 3 on average against 1.5, but it may as well be anything from 1 to 7."""
    found = pays(_sure(2, 1000), ChangeCosts(1.0, _extra(2.0, 4.0), _extra(0.5)))
    assert found.verdict == "unsure"
    assert found.saved_low < 0 < found.saved_high


def test_the_tabulated_age_is_the_exact_one():
    lives = Posterior.of([Life(age, True) for age in (300, 420, 500, 610, 700)], 600)
    exact, quick = of_posterior(lives, 1, 4), change_age(lives, 1, 4)
    assert quick.age == pytest.approx(exact.age, rel=0.01)
    assert quick.cost == pytest.approx(exact.cost, rel=1e-3)
    assert quick.to_the_end == pytest.approx(exact.to_the_end, rel=5e-3)


def test_a_pair_of_chance_lives_in_closed_form():
    """Both shape 1, mean 1000, nothing changed ahead: apart 2 x (1 + 9) / 1000 = 0.020; together
    the first of two ends after 500: (2 + 9) / 500 = 0.022."""
    side = Side(_sure(1.0, 1000), _costs(1, 0.5, 9))
    found = pair_or_apart(side, side)
    assert (found.apart, found.together) == pytest.approx((0.020, 0.022), rel=2e-3)
    assert found.age is None
    assert (found.dearer_low, found.dearer_high) == pytest.approx((0.002, 0.002), rel=0.06)
    assert found.sure


def test_pieces_that_wear_alike_are_cheaper_as_a_pair():
    """Both last nearly 1000 (shape 30) and a change costs ten times a piece: one change, not two.
    Without failures: apart about 2 x 11 / T, together 12 / T."""
    side = Side(_sure(30, 1000), _costs(1, 10, 60))
    found = pair_or_apart(side, side)
    assert found.dearer < 0
    assert found.sure
    assert found.together / found.apart == pytest.approx(12 / 22, rel=0.05)
    assert 700 < found.age < 1000


def test_one_that_lasts_ten_times_longer_is_not_thrown_away_with_the_other():
    short = Side(_sure(3, 500), _costs(5, 1, 10))
    long = Side(_sure(3, 5000), _costs(50, 1, 10))
    found = pair_or_apart(short, long)
    assert found.dearer > 0
    assert found.sure


def test_too_few_of_either_say_nothing_of_the_pair():
    few = Side(_sure(2, 500, ends=2), _costs(1, 1, 5))
    many = Side(_sure(2, 500), _costs(1, 1, 5))
    assert pair_or_apart(few, many) is None
    assert math.isfinite(pair_or_apart(many, many).dearer)
