"""The staffed clock."""

from __future__ import annotations

import numpy as np
import pytest

from planning.calc.ahead.clock import StaffedClock

H = 3600.0
# two shifts of 06:00-14:30 with a break of half an hour at 10:00
CLOCK = StaffedClock.of(
    [(6 * H, 10 * H), (10.5 * H, 14.5 * H), (30 * H, 34 * H), (34.5 * H, 38.5 * H)],
    [False, True, False, True],
)


def test_wall_time_skips_breaks_and_nights():
    wall = CLOCK.wall(np.array([1.0, 4.0, 4.5, 8.0, 9.0, 16.0]) * H) / H
    assert wall.tolist() == [7, 10, 11, 14.5, 31, 38.5]


def test_beyond_the_last_shift_there_is_no_time():
    assert CLOCK.wall(np.array([16.1 * H]))[0] == np.inf
    assert StaffedClock.of([], []).wall(np.array([0.0]))[0] == np.inf


def test_staffed_is_the_inverse_of_wall():
    for staffed in np.linspace(0.5, 15.5, 31) * H:
        assert CLOCK.staffed(float(CLOCK.wall(np.array([staffed]))[0])) == pytest.approx(staffed)


def test_from_now_on():
    later = CLOCK.from_now(12 * H)
    assert later.wall(np.array([1.0]) * H)[0] == 13 * H
    assert (later.borders / H).tolist() == [2.5, 10.5]
    assert CLOCK.from_now(20 * H).wall(np.array([0.5 * H]))[0] == 30.5 * H


def test_stretches_out_of_order_are_refused():
    with pytest.raises(ValueError, match="in order"):
        StaffedClock.of([(5, 6), (1, 2)], [False, True])
    with pytest.raises(ValueError, match="not empty"):
        StaffedClock.of([(5, 5)], [True])


def test_one_more_shift_is_staffed_where_it_was_not():
    clock = StaffedClock.of([(0, 10), (20, 30)], [True, True])
    more = clock.with_shift(5, 25)
    assert more.starts.tolist() == [0, 10, 20]
    assert more.ends.tolist() == [10, 20, 30]
    later = clock.with_shift(40, 50)
    assert later.ends_shift.tolist() == [True, True, True]
    assert later.passed.tolist() == [10, 20, 30]
    assert StaffedClock.of([], []).with_shift(1, 2).passed.tolist() == [1]
