from __future__ import annotations

import pytest

from planning.calc.life.costs import ChangeCosts, Happened, Typed, extra


def _one(partners, cut, lost, at=0):
    lost_s = None if lost is None else lost * 2
    return Happened(f"i{at}", at, partners, cut, lost, lost_s)


THREE = [_one(100, 600, 800), _one(0, 600, 1000), _one(200, 0, 1200)]


def test_a_failure_costs_the_mean_of_its_parts_and_they_sum():
    """By hand: totals 1500, 1600, 1400; mean 1500, sd 100; Student's t(.95, 2) = 2.919986 (tables),
    x 100 / sqrt 3 = 168.585."""
    found = extra(THREE, [], None)
    assert (found.partners, found.cut, found.lost) == (100, 400, 1000)
    assert found.total == 1500
    assert (found.low, found.high) == pytest.approx((1331.415, 1668.585), abs=0.01)
    assert (found.n, found.source, found.lost_s) == (3, "part", 2000)


def test_one_that_is_not_known_whole_is_left_out_of_every_term():
    found = extra([*THREE, _one(900, 900, None), _one(900, None, 900)], [], None)
    assert (found.total, found.n) == (1500, 3)


def test_thin_records_fall_back_on_the_shops_then_on_what_was_typed():
    typed = Typed(cut=500, lost=1500, lost_s=1800)
    assert extra(THREE[:2], THREE, typed).source == "shop"
    found = extra(THREE[:2], THREE[:2], typed)
    assert (found.source, found.n, found.total) == ("typed", 0, 2000)
    assert (found.low, found.high) == (1000, 4000)
    assert extra(THREE[:2], [], None) is None


def test_the_piece_itself_is_paid_either_way():
    costs = ChangeCosts(900, extra(THREE, [], None), extra([_one(0, 0, 600)] * 3, [], None))
    assert (costs.failed, costs.ahead) == (2400, 1500)
