"""The model's parts against closed forms and direct solutions."""

from __future__ import annotations

import numpy as np
import pytest

from planning.calc.ahead.normal import LEVEL_SD, Layout, draw_effects
from planning.calc.ahead.records import Cut, Exposed, Records, Stop
from planning.calc.ahead.spreads import draw_spread, pick
from planning.calc.ahead.stops import exposed, fit_stops
from planning.calc.ahead.urn import MIDDLE_SD, Guess, Urn

LAYOUT = Layout(
    week=np.array([0, 0, 1, 1, 2, 2, 2]),
    cell=np.array([0, 1, 0, 1, 0, 1, 0]),
    nest=np.array([0, 1, 0, 2, 3, 1, 0]),
    day=np.array([0, 0, 1, 1, 2, 3, 3]),
    gaps=np.array([1.0, 2.0]),
    weeks=3, cells=2, nests=4, days=4,
)  # fmt: skip
SPREADS = {"slope": 0.01, "drift": 0.02, "cell_sd": 0.08, "nest_sd": 0.05, "day_sd": 0.03}
DAY_MEAN = np.array([0.01, -0.02, 0.0, 0.03])


def dense():
    """Mean and covariance of level, cell, nest and day effects by the textbook's one formula: all
    unknowns with their joint prior, observed with noise."""
    size = 3 + 2 + 4 + 4
    steps = np.array([[1.0, 0, 0], [1, 1, 0], [1, 1, 1]])
    variances = np.diag([LEVEL_SD**2, 0.02**2 * 1, 0.02**2 * 2])
    prior = np.zeros((size, size))
    prior[:3, :3] = steps @ variances @ steps.T
    for at, sd in zip(range(3, size), [0.08] * 2 + [0.05] * 4 + [0.03] * 4, strict=True):
        prior[at, at] = sd**2
    mean = np.concatenate([steps @ [0, 0.01, 0.02], np.zeros(6), DAY_MEAN])
    design = np.zeros((7, size))
    for row in range(7):
        for at in (
            LAYOUT.week[row], 3 + LAYOUT.cell[row], 5 + LAYOUT.nest[row], 9 + LAYOUT.day[row]
        ):  # fmt: skip
            design[row, at] = 1
    return mean, prior, design


def test_effects_are_drawn_from_the_joint_posterior():
    y = np.array([0.1, 0.02, 0.12, 0.0, 0.2, 0.05, 0.18])
    weight = 1 / np.array([0.05, 0.04, 0.05, 0.1, 0.03, 0.05, 0.06]) ** 2
    mean, prior, design = dense()
    noise = design @ prior @ design.T + np.diag(1 / weight)
    gain = prior @ design.T @ np.linalg.inv(noise)
    want, spread = mean + gain @ (y - design @ mean), prior - gain @ design @ prior
    chance = np.random.default_rng(5)
    drawn = []
    for _ in range(4000):
        one = draw_effects(chance, y, weight, LAYOUT, day_mean=DAY_MEAN, **SPREADS)
        drawn.append(np.concatenate([one.level, one.cell, one.nest, one.day]))
    found = np.array(drawn)
    error = np.sqrt(np.diag(spread) / len(found))
    assert np.all(np.abs(found.mean(axis=0) - want) < 4.5 * error)
    assert np.cov(found.T) == pytest.approx(spread, abs=8e-4 * 0.5)


def test_a_grid_draw_has_the_chances_it_was_given():
    chance = np.random.default_rng(3)
    drawn = [pick(chance, [1.0, 2.0, 4.0], np.log([0.2, 0.5, 0.3]) - 700) for _ in range(6000)]
    shares = [drawn.count(value) / 6000 for value in (1.0, 2.0, 4.0)]
    assert shares == pytest.approx([0.2, 0.5, 0.3], abs=0.03)


def test_a_spread_of_many_effects_is_their_own():
    chance = np.random.default_rng(4)
    drawn = [draw_spread(chance, 400 * 0.05**2, 400, 0.08) for _ in range(400)]
    # the standard error of a standard deviation is sd / sqrt(2 n)
    assert np.mean(drawn) == pytest.approx(0.05, rel=0.02)
    assert np.std(drawn) == pytest.approx(0.05 / np.sqrt(800), rel=0.4)


def test_the_rate_of_stoppages_is_the_gamma_posterior_where_days_are_alike():
    chance = np.random.default_rng(6)
    seen = [Exposed(day, day, 4 * 3600.0, 2) for day in range(200)]  # two in four hours, always
    found = fit_stops(chance, seen, 0.25, 400)
    # 400 in 800 hours under a flat prior: mean .5; days no more unlike than chance makes them
    assert (found.rate * 3600).mean() == pytest.approx(0.5, rel=0.05)
    assert np.mean(found.clump >= 8) > 0.9


def test_what_stops_often_is_told_by_day_or_by_nest():
    """Each day has the same two nests, and only one of them stops; then the other way about."""
    for bad in ("day", "nest"):
        chance = np.random.default_rng(7)
        seen = [
            Exposed(day, nest, 2 * 3600.0, 3 if (day % 5 if bad == "day" else nest % 5) == 0 else 0)
            for day in range(40)
            for nest in (day % 7, 7 + day % 8)
        ]
        found = fit_stops(chance, seen, 0.25, 300)
        which = np.arange(300)
        days = [found.day_factor(chance, which, day).mean() for day in (5, 6)]
        nests = [found.nest_factor(chance, which, nest).mean() for nest in (5, 6)]
        told = days if bad == "day" else nests
        other = nests if bad == "day" else days
        assert told[0] > 5 * told[1], bad
        assert other[0] < 5 * other[1], bad


def test_a_nest_never_cut_may_be_any_of_those_that_were():
    chance = np.random.default_rng(8)
    seen = [Exposed(n, n, 7200.0, 6 if n % 8 == 0 else 0) for n in range(48)]
    found = fit_stops(chance, seen, 0.25, 4000)
    fresh = found.nest_factor(chance, np.arange(4000), "new")
    assert fresh.mean() == pytest.approx(1, abs=0.2)
    assert np.median(fresh) < 0.6


def test_a_stoppage_without_a_nest_counts_with_the_one_cut_longest_that_day():
    cuts = [Cut(1, 0, "cell", "a", 900.0, 1000.0), Cut(1, 0, "cell", "b", 500.0, 600.0)]
    records = Records(cuts, stops=[Stop(1, 60.0), Stop(1, 60.0, "b"), Stop(2, 60.0)])
    found = {(one.day, one.nest): (one.cut_s, one.stops) for one in exposed(records)}
    assert found == {(1, "a"): (1000.0, 1), (1, "b"): (600.0, 1)}


def test_the_run_on_the_table_counts_as_far_as_it_has_come():
    records = Records([Cut(1, 0, "cell", "a", 900.0, 1000.0)], going=[Exposed(1, "a", 500.0, 1)])
    assert exposed(records) == [Exposed(1, "a", 1500.0, 1)]


def test_an_ordinary_shift_meets_the_stoppages_that_were_seen():
    seen = [Exposed(n, n, 7200.0, 6 if n % 8 == 0 else 0) for n in range(48)]
    found = fit_stops(np.random.default_rng(9), seen, 0.25, 50)
    assert found.usual * 3600 == pytest.approx(36 / 96, rel=0.06)
    # nothing seen yet: as typed, and as unsure (lognormal: the mean is exp(1/2) of the median)
    bare = fit_stops(np.random.default_rng(9), [], 0.25, 4000)
    assert bare.usual * 3600 == pytest.approx(0.25 * np.exp(0.5), rel=0.1)


def test_an_urn_without_records_is_the_guess():
    drawn = Urn.of([], Guess(300, 0.4, 4)).draw(np.random.default_rng(8), (20_000, 1))[:, 0]
    assert np.median(drawn) == pytest.approx(300, rel=0.03)
    assert np.std(np.log(drawn)) == pytest.approx(np.hypot(0.4, MIDDLE_SD), rel=0.03)


def test_records_outweigh_the_guess_by_their_number():
    urn = Urn.of([100.0] * 36, Guess(1000, 0.1, 4))
    drawn = urn.draw(np.random.default_rng(9), (20_000, 1))[:, 0]
    assert np.mean(drawn == 100) == pytest.approx(0.9, abs=0.01)
    mean_of_guess = 1000 * np.exp((0.1**2 + MIDDLE_SD**2) / 2)
    assert urn.mean_s == pytest.approx(0.9 * 100 + 0.1 * mean_of_guess)
    assert drawn.mean() == pytest.approx(urn.mean_s, rel=0.04)


def test_what_has_lasted_goes_on_as_the_longer_ones_did():
    urn = Urn.of([100.0] * 150 + [500.0] * 150, Guess(300, 0.1, 1e-9))
    rest = urn.draw_rest(np.random.default_rng(10), 500, 200.0, np.ones(500))
    assert set(rest.tolist()) == {300.0}
    beyond = urn.draw_rest(np.random.default_rng(11), 4000, 900.0, np.ones(10))
    assert beyond.mean() == pytest.approx(900, rel=0.1)


def test_only_the_latest_records_are_drawn():
    urn = Urn.of([1.0] * 500 + [2.0] * 300, Guess(300, 0.1, 1e-9))
    assert set(urn.records_s.tolist()) == {2.0}


def test_an_urn_s_mean_and_mean_square_are_those_of_its_draws():
    urn = Urn.of([100.0, 300.0, 500.0] * 20, Guess(200.0, 0.3, 5))
    drawn = urn.draw(np.random.default_rng(5), (400_000, 1))
    assert drawn.mean() == pytest.approx(urn.mean_s, rel=0.01)
    assert (drawn**2).mean() == pytest.approx(urn.square_s2, rel=0.02)
