"""What is said of clocks, by lags made by hand."""

from __future__ import annotations

import random

from hypothesis import given
from hypothesis import strategies as st

from telemetry.clockwatch import ClockEstimate, ClockWatch, HostClock

S = 1_000_000
T0 = 1_770_000_000 * S


def heard(count, lag_us, *, start=0, scatter_us=0, seed=1):
    chance = random.Random(seed)
    at = [T0 + (start + n) * 10 * S for n in range(count)]
    return [(a, a - lag_us - chance.randint(0, scatter_us)) for a in at]


def test_fewer_than_twenty_lines_say_nothing():
    watch = ClockWatch()
    watch.see(heard(19, 7 * S))
    assert watch.estimate() is None
    watch.see(heard(1, 7 * S, start=19))
    assert watch.estimate() == ClockEstimate(20, 7 * S, 0)


def test_of_lines_that_came_together_the_latest_stamp_counts():
    """40 blocks of three lines that waited 0, 2 and 4 s: the clock is 420 s off, not 422."""
    watch = ClockWatch()
    for n in range(40):
        at = T0 + n * 10 * S
        watch.see([(at, at - 420 * S - wait * S) for wait in (4, 2, 0)])
    assert watch.estimate().median_us == 420 * S


def test_a_step_of_the_clock_is_told_once_with_its_size_and_when():
    watch = ClockWatch()
    watch.see(heard(60, 1 * S, scatter_us=S))
    assert watch.jumps() == []
    watch.see(heard(8, 421 * S, start=60, scatter_us=S))
    assert watch.jumps() == []  # too few yet
    watch.see(heard(20, 421 * S, start=68, scatter_us=S))
    (jump,) = watch.jumps()
    assert abs(jump.by_us - 420 * S) <= S
    assert jump.at_us == T0 + 60 * 10 * S
    assert watch.jumps() == []
    assert watch.estimate().median_us > 400 * S


def test_a_clock_set_forward_is_told_too():
    watch = ClockWatch(ClockEstimate(50, 0, 0))  # as a watch of before had it
    watch.see(heard(20, -3600 * S))
    assert [jump.by_us for jump in watch.jumps()] == [-3600 * S]


@given(st.integers(-4 * S, 4 * S), st.integers(0, 3 * S), st.integers(0, 1000))
def test_scatter_and_small_drift_are_no_step(drift_us, scatter_us, seed):
    watch = ClockWatch()
    watch.see(heard(100, 10 * S, scatter_us=scatter_us, seed=seed))
    watch.see(heard(20, 10 * S + drift_us // 4, start=100, scatter_us=scatter_us, seed=seed + 1))
    assert watch.jumps() == []


def test_the_hosts_clock_set_by_an_hour_is_seen_and_drift_is_not():
    host = HostClock(T0, 500)
    assert host.step(T0 + 2 * S + 900, 500 + 2 * S) is None
    assert host.step(T0 + 3604 * S, 500 + 4 * S) == 3600 * S - 900
    assert host.step(T0 + 3606 * S, 500 + 6 * S) is None
