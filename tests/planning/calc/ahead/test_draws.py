"""The whole list through the clock."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from planning.calc.ahead.clock import StaffedClock
from planning.calc.ahead.draws import Ahead, Now, UnderWay, Worlds, finishes, weeks_of
from planning.calc.ahead.fit import fit
from planning.calc.ahead.records import Cut, Handling, Records, Step, Stop, Typical

H = 3600.0
ONE_DAY = StaffedClock.of([(0, 40 * H)], [True])


def steady(level=0.1, days=40, stops=(), stops_per_h=0.001):
    """A shop where everything always takes the same: cutting exp(level) of its plan, loading
    300 s, unloading 200 s, 100 s between, 700 s a set change."""
    cuts, handling = [], []
    lengths = {Step.LOAD: 300.0, Step.UNLOAD: 200.0, Step.GAP: 100.0, Step.CHANGE: 700.0}
    for day in range(days):
        for place in range(6):
            plan = 1000.0 + 400 * place
            cuts.append(Cut(day, day // 5, "cell", place, plan, plan * float(np.exp(level))))
            handling += [Handling(step, day, length) for step, length in lengths.items()]
    typical = Typical(300, 200, 100, 700, 600, 720, stops_per_h)
    return Records(cuts, handling, list(stops), [600.0] * 40, typical=typical)


STEADY = fit(steady(), 1)


def drawn(fitted, under, runs, clock=ONE_DAY, day=41, week=8):
    return finishes(Worlds.of(fitted, Now(0.0, day, week, under), 2), runs, clock)


def test_a_steady_shop_takes_the_plan_with_its_handling():
    runs = [Ahead(1000, "cell", 0), Ahead(2000, "cell", 1), Ahead(1500, "cell", 2, change=True)]
    found = drawn(STEADY, UnderWay(), runs)
    factor = float(np.exp(0.1))
    first = 100 + 300 + 1000 * factor
    second = first + 200 + 100 + 300 + 2000 * factor
    third = second + 200 + 700 + 300 + 1500 * factor
    assert np.median(found.staffed, axis=0) == pytest.approx([first, second, third], rel=0.02)


def test_what_is_done_of_the_run_under_way_is_not_counted_again():
    found = drawn(STEADY, UnderWay(rest_s=400.0), [Ahead(2000, "cell", 1)])
    assert np.median(found.staffed) == pytest.approx(400 * float(np.exp(0.1)), rel=0.06)


def test_a_step_under_way_counts_with_its_rest():
    fresh = drawn(STEADY, UnderWay(step=Step.LOAD, age_s=0.0), [Ahead(1000, "cell", 0)])
    later = drawn(STEADY, UnderWay(step=Step.LOAD, age_s=200.0), [Ahead(1000, "cell", 0)])
    assert np.median(fresh.staffed) - np.median(later.staffed) == pytest.approx(200, abs=25)


def test_the_end_of_a_shift_costs_its_idle_time():
    clock = StaffedClock.of([(0, 1000.0), (20 * H, 60 * H)], [True, True])
    found = drawn(STEADY, UnderWay(), [Ahead(3000, "cell", 0)], clock)
    straight = 100 + 300 + 3000 * float(np.exp(0.1))
    assert np.median(found.staffed) == pytest.approx(straight + 600, rel=0.03)
    assert np.median(found.wall) == pytest.approx(20 * H + straight + 600 - 1000, rel=0.01)


def test_chances_grow_with_time_and_fall_along_the_list():
    runs = [Ahead(3000, "cell", place) for place in range(5)]
    found = drawn(STEADY, UnderWay(), runs)
    early, late = found.chance_by(2 * H), found.chance_by(5 * H)
    assert np.all(late >= early)
    assert np.all(np.diff(late) <= 0)
    assert late[0] > 0.998  # a few of 2,000 draws have a bad nest


def test_the_level_walks_on_along_a_list_of_weeks():
    """A shop that slows by 2 in 100 a week: a run of the fourth week to come takes 8 more."""
    one = np.ones(STEADY.draws)
    slowing = replace(STEADY, slope=0.02 * one, drift=1e-9 * one)
    worlds = Worlds.of(slowing, Now(0.0, 41, 7), 2)
    gained = worlds.walked(np.full(worlds.draws, 4)) - worlds.walked(np.zeros(worlds.draws, int))
    assert gained == pytest.approx(0.08)
    week = 7 * 24 * H
    clock = StaffedClock.of([(n * week, n * week + 10 * H) for n in range(6)], [True] * 6)
    assert weeks_of(clock, Now(0.0, 41, 0)).tolist() == [0, 1, 2, 3, 4, 5, 5]


def test_nobody_at_the_table_means_no_end():
    found = drawn(STEADY, UnderWay(), [Ahead(3000, "cell", 0)], StaffedClock.of([], []))
    assert np.all(np.isinf(found.wall))
    assert found.chance_by(1e12)[0] == 0


def test_a_shop_without_records_says_a_wide_range_about_its_plan():
    fitted = fit(Records(), 3)
    found = drawn(fitted, UnderWay(), [Ahead(3600, "new", "new")], day=0, week=0)
    low, middle, high = np.quantile(found.staffed[:, 0], [0.1, 0.5, 0.9])
    assert low < 3600 + 390 < high
    assert 1.3 < high / low < 3
    assert middle == pytest.approx(3600 + 390, rel=0.15)


def test_stoppages_of_the_past_are_expected():
    # three a day, shared out by what the nests take: 10, 14, 18, 22, 26 and 30 of them
    nests = np.repeat(np.arange(6), 10 + 4 * np.arange(6))
    np.random.default_rng(0).shuffle(nests)
    stops = [Stop(place // 3, 1800.0, int(nest)) for place, nest in enumerate(nests)]
    fitted = fit(steady(stops=stops, stops_per_h=0.25), 4)
    cut_s = sum(1000 + 400 * place for place in range(6)) * float(np.exp(0.1))
    runs = [Ahead(2000, "cell", 1)] * 6
    with_stops = drawn(fitted, UnderWay(), runs).staffed[:, -1].mean()
    without = drawn(STEADY, UnderWay(), runs).staffed[:, -1].mean()
    expected = 6 * 2000 * float(np.exp(0.1)) / cut_s * 3 * 1800
    assert with_stops - without == pytest.approx(expected, rel=0.12)


def test_the_same_seed_says_the_same():
    runs = [Ahead(1000, "cell", 0), Ahead(2000, "other", 9)]
    assert np.array_equal(
        drawn(STEADY, UnderWay(), runs).staffed, drawn(STEADY, UnderWay(), runs).staffed
    )
    assert np.array_equal(fit(steady(days=5), 7).level, fit(steady(days=5), 7).level)


def test_a_table_without_runs_has_no_week_to_walk_on_from():
    """Its level stays the prior's, whatever week it is: 95 in 100 within two of its sd of 0.25."""
    bare = fit(Records(), 0, sweeps=200, kept=200)
    worlds = Worlds.of(bare, Now(0.0, 0, week=2_960), seed=1)
    assert np.std(worlds.level(0)) < 0.3
