"""What the bench of lives counts."""

from __future__ import annotations

import itertools

import numpy as np
import pytest

from planning.bench.life import air, money, simulated
from planning.bench.life.scores import Said, former_rule, inside, sooner, summed
from planning.calc.life.failures import Expected
from planning.calc.life.left import Left
from planning.calc.life.pit import Reading

# even chances to end anywhere from 0 to 100 starts on
EVEN = Left(np.linspace(0, 100, 101), np.linspace(1, 0, 101))


def test_an_end_that_was_seen_is_in_the_range_or_not():
    assert inside(EVEN, 0.9, 50, ended=True) == 1
    assert inside(EVEN, 0.9, 4, ended=True) == 0
    assert inside(EVEN, 0.9, 96, ended=True) == 0


def test_a_piece_taken_out_counts_by_what_could_still_have_come():
    """Taken out at 50 of 100: its end lay in 50 to 100, of which 50 to 95 is inside: 45/50."""
    assert inside(EVEN, 0.9, 50, ended=False) == pytest.approx(0.9)
    assert inside(EVEN, 0.9, 100, ended=False) == 0
    # said 75: 25 of the 50 left come sooner
    assert sooner(75, EVEN, 50, ended=False) == pytest.approx(0.5)
    assert sooner(75, EVEN, 80, ended=False) == 0
    assert sooner(75, EVEN, 50, ended=True) == 1


def test_the_former_rule_is_as_pages_had_it():
    assert former_rule(200, 600, [], 1.6) == (400, None)
    # 0.4 mm after 200 and 0.9 mm after 300 starts: 1.6 mm at 800 or 533
    pits = [Reading(200, 0, 0.4), Reading(300, 0, 0.9)]
    said, (low, high) = former_rule(300, 600, pits, 1.6)
    assert (said, low, high) == pytest.approx((233.3, 233.3, 500), abs=0.1)
    assert former_rule(10, None, [], 1.6) == (None, None)


def test_shares_are_over_what_was_said():
    said = [Said(EVEN, gave, True, 60, None, 0.5) for gave in (10, 50, 70, 99)]
    found = summed(said)
    assert found["before"]["sooner"] == 0.5
    assert found["before"]["held"] is None
    assert found["after"]["held_90"] == 0.75
    assert found["after"]["sooner"] == 0.25


@pytest.mark.slow
def test_ranges_hold_in_shops_whose_truth_is_known():
    """48 shops: nine in ten give or take three standard errors."""
    assert 0.77 < simulated.shops(4)["all"]["after"]["held_90"] <= 1


def test_advice_saves_where_pieces_wear_and_does_little_harm_where_they_do_not(monkeypatch):
    """By the truth a quarter of the cost and more is saved at shape 4, nothing at 0.7."""
    monkeypatch.setattr(money, "SHAPES", (0.7, 4.0))
    found = money.shops(2)
    worn, chance = found["shape 4"], found["shape 0.7"]
    assert worn["best"] < worn["advice"] < 0.8
    assert worn["changed_ahead"] > 0.5
    assert chance["best"] == 1
    assert 0.9 < chance["advice"] < 1.1


def test_while_lives_are_halved_a_start_takes_two():
    """One start a day. 100 starts from day 200: 31 until the air goes bad on day 231, and 69 more
    in 34.5 days; of 300, 31 before, 168 in the 84 bad days, and 101 after them."""
    clock = np.arange(0.0, 500.0)
    bad = air.WORSE_FROM * 7
    assert bad == 231
    assert air._end(200.0, 100.0, clock, halved=True) == pytest.approx(265.5)
    assert air._end(200.0, 300.0, clock, halved=True) == pytest.approx(231 + 84 + 101)
    assert air._end(200.0, 100.0, clock, halved=False) == 300
    assert air._end(10.0, 100.0, clock, halved=True) == 110


def test_who_looks_every_day_is_told_on_the_day_it_is_more_than_chance():
    """Two expected a week; thirty fail on the third day looked at."""
    told = {(1, 1): [Expected(2.0)] * 8}
    start = 4 * 7
    ended = [(1, (start + 2) * air.DAY_US)] * 30
    assert air.called(told, ended, range(start, 8 * 7)) == 2
    assert air.called(told, ended[:4], range(start, 8 * 7)) is None


def test_the_pieces_of_a_simulated_torch_follow_each_other():
    random = np.random.default_rng(3)
    pieces = air._pieces(random, "as usual", np.full(20, 350.0))
    assert sum(piece.age for piece in pieces) == pytest.approx(20 * 350)
    for piece, after in itertools.pairwise(pieces):
        assert sum(starts for _at, starts in piece.uses) == pytest.approx(piece.age)
        assert piece.since_us < after.since_us
        assert piece.ended_us in (None, after.since_us)
