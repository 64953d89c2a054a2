from __future__ import annotations

from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from planning.calc.allocation import (
    ContourUse,
    area_weights,
    largest_remainder,
    move_scrap,
    share_out,
    time_weights,
    wear_weights,
)

weights = st.lists(st.floats(0, 1e9) | st.integers(0, 10**12), min_size=1, max_size=12)


@given(st.integers(-(10**9), 10**9), weights)
def test_shares_sum_to_the_total_and_lie_within_one_of_their_ideal(total, given_weights):
    shares = largest_remainder(total, given_weights)
    assert sum(shares) == total
    whole = sum(map(Fraction, given_weights))
    for share, weight in zip(shares, given_weights, strict=True):
        part = Fraction(weight) / whole if whole else Fraction(1, len(given_weights))
        assert abs(share - total * part) < 1


def test_left_over_cents_go_to_the_largest_remainders():
    # 1900 by 300:250 = 1036.36 and 863.64: the cent goes to the second
    assert largest_remainder(1900, [300, 250]) == [1036, 864]
    # equal thirds of 100: 33.33 each, the odd cent to the first
    assert largest_remainder(100, [1, 1, 1]) == [34, 33, 33]
    assert largest_remainder(-100, [1, 1, 1]) == [-34, -33, -33]


def test_what_cannot_be_shared_is_refused():
    assert largest_remainder(0, []) == []
    with pytest.raises(ValueError, match="nobody"):
        largest_remainder(5, [])
    with pytest.raises(ValueError, match="negative"):
        largest_remainder(5, [1, -1])


def test_each_kind_goes_by_its_own_weight():
    contours = [
        ContourUse(1, 60_000_000, 1, 2e6),
        ContourUse(2, 30_000_000, 1, 1e6),
        ContourUse(None, 99_000_000, 5, None),  # nobody's: shared like travel is
    ]
    assert time_weights(contours) == {1: 60e6, 2: 30e6}
    assert area_weights(contours) == {1: 2e6, 2: 1e6}
    # a start and 60 s (two more starts' worth) against a start and 30 s
    assert wear_weights(contours) == pytest.approx({1: 3.0, 2: 2.0})
    assert share_out(90, time_weights(contours)) == {1: 60, 2: 30}


def test_a_common_edge_is_halved():
    # a contour of 40 s whose edge of 20 s is also the other part's: 40 - 10 and 20 + 10
    contours = [ContourUse(1, 40, 1, 1.0, common=0.75), ContourUse(2, 20, 1, 1.0, common=1.5)]
    assert time_weights(contours) == {1: 30, 2: 30}


def test_a_nest_of_nobodys_parts_is_the_shops():
    assert time_weights([ContourUse(None, 5, 1, 1.0)]) == {None: 1.0}
    assert share_out(7, {None: 1.0}) == {None: 7}


def test_scrap_takes_its_share_of_what_its_line_had():
    amounts = {("material", 1): 6200, ("machine", 1): 1005, ("material", 2): 900}
    # one part of ten: 620 and 100.5, of which the half cent goes to the first weight
    assert move_scrap(amounts, 1, 1, 10) == {("material", 1): 620, ("machine", 1): 101}
    assert move_scrap(amounts, 1, 0, 10) == {}


def test_the_one_part_made_and_spoilt_takes_all_and_of_none_made_nothing_is_taken():
    amounts = {("material", 1): 6200, ("material", 2): 900}
    assert move_scrap(amounts, 1, 1, 1) == {("material", 1): 6200}
    assert move_scrap(amounts, 1, 1, 0) == {}
