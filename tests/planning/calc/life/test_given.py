from __future__ import annotations

import pytest

from planning.calc.life.given import Given, given, steadied


def test_starts_burnt_for_each_piece_used_up_with_the_rating_as_two_more():
    """8 used up, 4,000 burnt, rated 600: (1200 + 4000) / 10 = 520."""
    found = given(600, burnt=4000, out=8, spoilt_starts=0)
    assert found == Given(520, 8, 4000)
    # 300 of them on pieces that crashed: half a piece by their rating
    assert given(600, burnt=4000, out=8, spoilt_starts=300).starts == pytest.approx(5200 / 10.5)


def test_few_pieces_leave_the_rating():
    assert given(600, burnt=900, out=2, spoilt_starts=0) is None
    assert given(None, burnt=1500, out=3, spoilt_starts=0) == Given(500, 3, 1500)


def test_many_pieces_cost_what_they_are_charged():
    """100 pieces of $10 over 40,000 starts cost 2.5 cents a start: 400 starts each."""
    assert given(600, burnt=40_000, out=100, spoilt_starts=0).starts == pytest.approx(400, rel=0.02)


def test_a_small_move_changes_no_plan():
    assert steadied(Given(520, 8, 4000), 500)
    assert not steadied(Given(530, 8, 4000), 500)
    assert not steadied(None, 500)
    assert not steadied(Given(520, 8, 4000), None)


def test_pieces_nobody_saw_burn_leave_the_rating():
    """A table without a feed: four are used up, none with a start on record."""
    assert given(None, burnt=0, out=4, spoilt_starts=0) is None
    assert given(600, burnt=0, out=4, spoilt_starts=0) is None
    assert not steadied(Given(10.0, 3, 30), 0.0)  # as an older version kept it
