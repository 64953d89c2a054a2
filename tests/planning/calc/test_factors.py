"""Against closed forms, a worked example of the literature and simulated shops whose true factors
are known."""

from __future__ import annotations

import math
import random
from statistics import NormalDist, fmean

import numpy as np
import pytest

from planning.calc.factors import NotEnoughData, _normal, back_test, fit


def shop(dice, *, cells, tau, sigma, mu=0.08, most=25):
    """True ln factors and the runs of a shop drawn at random; some cells have a run or two."""
    truth = {key: dice.gauss(mu, tau) for key in range(cells)}
    runs = {
        key: [dice.gauss(true, sigma) for _ in range(dice.choice((1, 2, 5, 10, most)))]
        for key, true in truth.items()
    }
    return truth, runs


def test_the_normal_distribution_function_is_that_of_the_standard_library():
    z = np.linspace(-6, 6, 241)
    exact = np.array([NormalDist().cdf(at) for at in z])
    assert np.abs(_normal(z) - exact).max() < 1e-7


def test_one_cell_alone_is_its_own_mean():
    logs = [0.1, 0.2, 0.0, 0.15, 0.05, 0.1]
    found = fit({"a": logs}).cell("a")
    assert found.value == pytest.approx(math.exp(0.1), rel=2e-3)
    assert found.bare == pytest.approx(math.exp(0.1))
    assert found.n == 6
    # 90 % interval of a mean with sigma unknown: s/sqrt(n) t(.95, 5) = 0.07071/2.4495 x 2.0150
    # = 0.0582 (any t table)
    assert math.log(found.high) - 0.1 == pytest.approx(0.0582, rel=0.06)
    assert 0.1 - math.log(found.low) == pytest.approx(0.0582, rel=0.06)


def test_equal_cells_are_pooled_and_unlike_ones_are_left_their_own():
    dice = random.Random(1)
    alike = {key: [dice.gauss(0.1, 0.1) for _ in range(4)] for key in range(8)}
    found = fit(alike)
    spread = [math.log(found.cell(key).value) for key in alike]
    bare = [fmean(own) for own in alike.values()]
    assert max(spread) - min(spread) < 0.6 * (max(bare) - min(bare))
    unlike = {0: [0.5 + dice.gauss(0, 0.02) for _ in range(40)],
              1: [-0.3 + dice.gauss(0, 0.02) for _ in range(40)],
              2: [0.0 + dice.gauss(0, 0.02) for _ in range(40)]}  # fmt: skip
    found = fit(unlike)
    for key, own in unlike.items():
        assert math.log(found.cell(key).value) == pytest.approx(fmean(own), abs=0.002)


def test_the_thinner_a_cell_the_nearer_it_comes_to_the_shop():
    # 30 runs at 0.0 in each of four cells with a little scatter, then one or ten runs at +0.4
    dice = random.Random(2)
    base = {key: [dice.gauss(0.05 * key - 0.1, 0.1) for _ in range(30)] for key in range(4)}
    one = fit({**base, "x": [0.4]})
    ten = fit({**base, "x": [0.4 + dice.gauss(0, 0.1) for _ in range(10)]})
    shop_log = math.log(one.shop)
    assert shop_log < math.log(one.cell("x").value) < math.log(ten.cell("x").value) < 0.45
    assert one.cell("x").high / one.cell("x").low > ten.cell("x").high / ten.cell("x").low
    unseen = one.cell("y")
    assert (unseen.n, unseen.bare) == (0, None)
    assert unseen.value == pytest.approx(one.shop)
    assert unseen.high / unseen.low > one.cell(0).high / one.cell(0).low


SCHOOLS = ((28, 15), (8, 10), (-3, 16), (7, 11), (-1, 9), (1, 11), (18, 10), (12, 18))


def schools():
    """Effect and standard error of the eight schools (Gelman et al., Bayesian Data Analysis,
    3rd ed., table 5.2, from memory), x 0.01 so that they are of the size of log factors. The shop
    has one sigma, so each school gets the count of runs that makes sigma / sqrt(n) its error."""
    sigma = 0.9
    cells = {}
    for place, (effect, error) in enumerate(SCHOOLS):
        count = round((sigma / (error / 100)) ** 2)
        noise = np.random.default_rng(place).standard_normal(count)
        noise = (noise - noise.mean()) / noise.std() * sigma
        cells[place] = list(effect / 100 + noise)
    return cells


def test_eight_schools_come_out_as_in_the_book():
    # Table 5.3's posterior medians, from memory; in so skewed a posterior they lie up to two
    # points off the means, and the book's prior of tau is flat.
    medians = (10, 8, 7, 8, 5, 6, 10, 8)
    found = fit(schools())
    for place, median in enumerate(medians):
        assert 100 * math.log(found.cell(place).value) == pytest.approx(median, abs=2.5)


def test_eight_schools_as_a_slow_sum_over_tau_alone_has_them():
    # The independent version: the errors taken as known, tau summed over point by point.
    found = fit(schools())
    top = [0.0] * 8
    whole = 0.0
    for step in range(1, 1001):
        tau = step / 1000
        var = [tau**2 + (error / 100) ** 2 for _, error in SCHOOLS]
        mu_var = 1 / sum(1 / one for one in var)
        mu = mu_var * sum(e / 100 / one for (e, _), one in zip(SCHOOLS, var, strict=True))
        chance = math.sqrt(mu_var) * math.exp(-((tau / 0.3) ** 2) / 2)
        for (effect, _), one in zip(SCHOOLS, var, strict=True):
            chance *= NormalDist(mu, math.sqrt(one)).pdf(effect / 100)
        whole += chance
        for place, ((effect, _), one) in enumerate(zip(SCHOOLS, var, strict=True)):
            top[place] += chance * (mu + tau**2 / one * (effect / 100 - mu))
    for place in range(8):
        assert math.log(found.cell(place).value) == pytest.approx(top[place] / whole, abs=0.004)


@pytest.mark.parametrize(("tau", "sigma"), [(0.05, 0.08), (0.15, 0.1), (0.0, 0.15), (0.3, 0.1)])
def test_nine_in_ten_intervals_hold_the_true_factor(tau, sigma):
    dice = random.Random(round(1000 * tau + 10 * sigma))
    inside = tried = 0
    for _ in range(60):
        truth, runs = shop(dice, cells=8, tau=tau, sigma=sigma)
        found = fit(runs)
        for key, true in truth.items():
            cell = found.cell(key)
            inside += cell.low <= math.exp(true) <= cell.high
            tried += 1
    # 480 cells: binomial error 0.014; the prior makes it a little wide where tau is 0
    assert 0.86 <= inside / tried <= (0.99 if tau == 0 else 0.95)


def test_the_next_run_falls_inside_nine_times_in_ten():
    dice = random.Random(8)
    inside = tried = 0
    for _ in range(60):
        truth, runs = shop(dice, cells=6, tau=0.12, sigma=0.12)
        found = fit(runs)
        for key, true in truth.items():
            low, high = found.next_run(key)
            for _ in range(5):
                inside += low <= math.exp(dice.gauss(true, 0.12)) <= high
                tried += 1
    assert 0.87 <= inside / tried <= 0.93


def test_pooling_comes_nearer_the_truth_than_each_cell_alone():
    dice = random.Random(5)
    pooled = bare = 0.0
    for _ in range(40):
        truth, runs = shop(dice, cells=8, tau=0.08, sigma=0.15, most=10)
        found = fit(runs)
        for key, true in truth.items():
            pooled += (math.log(found.cell(key).value) - true) ** 2
            bare += (fmean(runs[key]) - true) ** 2
    assert pooled < 0.75 * bare


def test_too_few_runs_say_so():
    assert str(fit({"a": [0.1, 0.1], "b": [0.2]})) == "not enough data (3, needed 5)"


def test_runs_that_are_all_alike_do_not_break_it():
    found = fit({"a": [0.1] * 5, "b": [0.1] * 3}).cell("a")
    assert found.value == pytest.approx(math.exp(0.1), rel=1e-3)
    assert found.low < found.value < found.high


def test_the_back_test_is_better_by_what_the_plan_was_off():
    # Every run takes 1.2 x its plan, give or take 2 %: before 20 % off, after 1.35 % in the middle
    # (0.6745 x 2 %), and 90 % within 1.645 x 2 % = 3.3 %.
    dice = random.Random(6)
    runs = [
        (month, cell, math.log(1.2) + dice.gauss(0, 0.02))
        for month in ("2026-08", "2026-09", "2026-10")
        for cell in ("a", "b")
        for _ in range(60)
    ]
    found = back_test(runs)
    assert found.before.median == pytest.approx(0.2, abs=0.005)
    assert found.after.median == pytest.approx(0.0135, abs=0.003)
    assert found.after.ninety == pytest.approx(0.033, abs=0.005)
    assert (found.before.n, found.after.n, found.months) == (360, 360, 3)
    assert found.inside == pytest.approx(0.9, abs=0.05)
    assert found.by_cell["a"][0].n == 180


def test_a_month_is_never_foretold_from_itself():
    # The last month alone took twice its plan. Learnt from itself the factor would hide that.
    quiet = [("2026-09", "a", dice) for dice in (0.0, 0.01, -0.01, 0.02, -0.02, 0.0)]
    loud = [("2026-10", "a", math.log(2.0)) for _ in range(6)]
    found = back_test(quiet + loud)
    # October foretold as 1.0 is off by 100 %, September foretold as 2.0 by about 50 %
    assert found.after.median == pytest.approx(0.75, abs=0.26)
    assert found.inside < 0.1
    assert back_test(quiet) == NotEnoughData(1, 2)
