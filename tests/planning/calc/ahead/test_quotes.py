"""A whole quote as one distribution."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from planning.calc.ahead.draws import Now
from planning.calc.ahead.fit import fit
from planning.calc.ahead.quotes import MOST_DAYS, MOST_SHEETS, LineAhead, QuoteWorlds, quote_draws
from planning.calc.ahead.records import Records, Step, Typical
from planning.calc.ahead.stops import StopRate
from planning.calc.ahead.urn import Guess, Urn

DRAWS = 20_000
BARE = fit(Records(typical=Typical()), 1)
SURE = Guess(1.0, 0.0, 0.0)


def known(*, level=0.0, sigma=0.0, cell_sd=0.0, nest_sd=0.0, day_sd=0.0, rate=1e-12, stop=(600.0,)):
    """A shop of which all is known: loading takes 300 s and unloading 200 s, always."""
    kept = np.ones(BARE.draws)
    urns = {step: Urn(np.array([s]), SURE) for step, s in zip(Step, (300.0, 200.0, 1.0, 1.0),
                                                             strict=True)}  # fmt: skip
    return replace(
        BARE, level=level * kept, slope=0 * kept, drift=0 * kept, cell_sd=cell_sd * kept,
        nest_sd=nest_sd * kept, sigma=sigma * kept, power=0 * kept, freedom=1e9 * kept,
        day_cov=np.tile(np.eye(2) * max(day_sd, 1e-9) ** 2, (BARE.draws, 1, 1)), urns=urns,
        stop=Urn(np.array(stop), SURE), stops=StopRate(rate * kept, 1e9 * kept, 1e9 * kept, {}, {}),
    )  # fmt: skip


def lines(*sheets, same_nest=False, plan_s=1000.0, **money):
    return [
        LineAhead("north", "cell", "nest" if same_nest else n, plan_s, count, **money)
        for n, count in enumerate(sheets)
    ]


def drawn(fitted, asked, draws=DRAWS):
    fits = {"north": fitted, "south": fitted}
    return quote_draws(fits, asked, week=0, seed=5, draws=draws)


def test_money_is_time_at_the_table_and_the_arc_and_what_does_not_change():
    # two sheets: 2 x (300 + 200 + 1000 e^.1) s at 2 a second, 2 x 50 e^.1 for the arc, 70 fixed
    [line] = lines(2, minor_per_s=2.0, arc_minor=100.0, fixed_minor=70.0)
    found = drawn(known(level=0.1), [replace(line, arc_minor=50.0)], 200)
    e = math.exp(0.1)
    seconds = 2 * (500 + 1000 * e)
    assert found.seconds[:, 0] == pytest.approx(seconds)
    assert found.whole == pytest.approx(2 * seconds + 2 * 50 * e + 70)


def test_errors_of_sheets_even_out_and_what_a_nest_shares_does_not():
    """Of n lognormals the sum has n m and n v; n times one lognormal has n m and n^2 v."""
    m, v = math.exp(0.02), math.exp(0.04) * math.expm1(0.04)
    own = drawn(known(sigma=0.2), lines(8)).seconds[:, 0] - 8 * 500
    shared = drawn(known(nest_sd=0.2), lines(8)).seconds[:, 0] - 8 * 500
    assert own.mean() == pytest.approx(8000 * m, rel=0.005)
    assert own.std() == pytest.approx(1000 * math.sqrt(8 * v), rel=0.04)
    assert shared.mean() == pytest.approx(8000 * m, rel=0.005)
    assert shared.std() == pytest.approx(8000 * math.sqrt(v), rel=0.04)


@pytest.mark.parametrize(
    ("shop", "asked", "alike"),
    [
        ({"cell_sd": 0.2}, lines(1, 1), True),  # two nests of one cell
        ({"nest_sd": 0.2}, lines(1, 1), False),
        ({"nest_sd": 0.2}, lines(1, 1, same_nest=True), True),
        ({"day_sd": 0.2}, lines(1, 1), True),
        ({"day_sd": 0.2}, lines(1, 1, plan_s=80_000.0), False),  # a day each, at least
        ({"day_sd": 0.2}, [lines(1)[0], replace(lines(1)[0], table="south")], False),
    ],
)
def test_what_two_lines_share(shop, asked, alike):
    found = np.corrcoef(drawn(known(**shop), asked, 4000).seconds.T)[0, 1]
    assert found == pytest.approx(1.0 if alike else 0.0, abs=0.06)


def test_days_hang_together_as_they_did():
    """Of 400 days that keep .8 of the one before, 400 / 410 of that is believed; of days that know
    nothing of each other, nothing or little."""
    chance = np.random.default_rng(3)
    bound, value = np.zeros((BARE.draws, 400, 2)), 0.0
    for day in range(400):
        value = 0.8 * value + 0.6 * float(chance.standard_normal())
        bound[:, day, 0] = value
    free = np.tile(chance.standard_normal((1, 400, 1)), (BARE.draws, 1, 2))
    now = Now(0.0, -1, 0)
    assert QuoteWorlds.of(replace(BARE, day=bound), now, 1).kept == pytest.approx(0.78, abs=0.06)
    assert QuoteWorlds.of(replace(BARE, day=free), now, 1).kept < 0.12
    assert QuoteWorlds.of(BARE, now, 1).kept == 0


@pytest.mark.parametrize(("kept", "variance"), [(0.0, 10.0), (0.8, 54.3)])
def test_a_sum_over_bound_days_is_as_wide_as_theirs(kept, variance):
    """Ten sheets, one a day: var = sd^2 (10 + 2 sum (10 - k) kept^k), by hand 10 and 54.3."""
    fits = known(day_sd=0.01)
    days = np.zeros((BARE.draws, 10_000, 2))
    chance, value = np.random.default_rng(4), 0.0
    for day in range(10_000):
        value = kept * value + math.sqrt(1 - kept**2) * float(chance.standard_normal())
        days[:, day, 0] = value
    found = drawn(replace(fits, day=days), lines(10, plan_s=28_700.0), 4000).seconds[:, 0]
    assert (found.std() / 287) ** 2 == pytest.approx(variance, rel=0.15)


def test_the_level_walks_on_while_the_work_lasts():
    """A slope of 1 % a week: the third week's sheet takes 2 % more than the first's."""
    shop = replace(known(), slope=np.full(BARE.draws, 0.01))
    asked = lines(1, 9, 1, plan_s=30_000.0)
    [first, _, last] = (drawn(shop, asked, 200).seconds.mean(axis=0) - [500, 9 * 500, 500]).tolist()
    assert last / first == pytest.approx(math.exp(0.02))


def test_stoppages_come_as_a_compound_poisson_sum():
    """4 sheets of 1000 s at 2 an hour are 2.22 stoppages of 300 or 900 s; their exact distribution
    by Panjer's recursion on steps of 300 s. Of 20,000 records the mean is known to .4 %, which
    moves no sum over the middle between two steps."""
    mean, most = 4000 * 2 / 3600, 60
    chances = [math.exp(-mean)]
    for at in range(1, most):
        chances.append(
            sum(mean * j / at * 0.5 * chances[at - j] for j in (1, 3) if at >= j)
        )  # fmt: skip
    exact = np.cumsum(chances)
    fitted = known(rate=2 / 3600, stop=(300.0, 900.0) * 10_000)
    took = drawn(fitted, lines(4)).seconds[:, 0] - 4 * 1500
    seen = np.array([(took < 300 * at + 150).mean() for at in range(most)])
    assert np.abs(seen - exact).max() < 0.012


def test_few_runs_make_students_t():
    """A level and a spread known from 5 runs alone: ln(actual / plan) of the next is their mean +
    s sqrt(1 + 1/5) t with 4 degrees of freedom, whose quantile has a closed form."""
    n, s, mean = 5, 0.1, 0.07
    chance = np.random.default_rng(2)
    sigma = np.sqrt((n - 1) * s**2 / chance.chisquare(n - 1, BARE.draws * 100))
    level = mean + sigma / math.sqrt(n) * chance.standard_normal(len(sigma))
    empty, one = np.zeros((len(sigma), 0)), np.ones(len(sigma))
    shop = replace(
        known(), level=level, sigma=sigma, slope=0 * one, drift=0 * one, cell_sd=0 * one,
        nest_sd=0 * one, cell=empty, nest=empty, power=0 * one, freedom=1e9 * one,
        day=np.zeros((len(sigma), 0, 2)), day_cov=np.tile(np.eye(2) * 1e-18, (len(sigma), 1, 1)),
        stops=StopRate(1e-12 * one, 1e9 * one, 1e9 * one, {}, {}),
    )  # fmt: skip
    took = drawn(shop, lines(1)).seconds[:, 0] - 500
    logs = (np.log(took / 1000) - mean) / (s * math.sqrt(1 + 1 / n))
    for promised in (0.1, 0.2, 0.3):
        assert np.quantile(logs, 1 - promised) == pytest.approx(_t4(1 - promised), abs=0.04)


def _t4(chance: float) -> float:
    """Quantile of Student's t with 4 degrees of freedom (closed form, Shaw 2006; .95: 2.1318)."""
    alpha = 4 * chance * (1 - chance)
    q = math.cos(math.acos(math.sqrt(alpha)) / 3) / math.sqrt(alpha)
    return math.copysign(2 * math.sqrt(q - 1), chance - 0.5)


def test_the_closed_form_is_the_tables():
    assert _t4(0.95) == pytest.approx(2.1318, abs=1e-4)
    assert _t4(0.8) == pytest.approx(0.9410, abs=1e-4)


def test_an_allowance_of_the_whole_is_less_than_those_of_its_lines():
    shop = known(sigma=0.2, nest_sd=0.1)
    whole = drawn(shop, lines(*[1] * 10, minor_per_s=1.0))
    alone = drawn(shop, lines(1, minor_per_s=1.0))
    assert whole.exceeded_with(0.1) < 0.95 * 10 * alone.exceeded_with(0.1)
    assert (whole.whole > whole.exceeded_with(0.1)).mean() == pytest.approx(0.1, abs=0.001)
    assert sum(whole.means()) == pytest.approx(whole.whole.mean())


def test_more_sheets_than_are_drawn_keep_their_mean():
    many = drawn(known(level=0.1), lines(MOST_SHEETS * 5), 200)
    assert many.seconds == pytest.approx(MOST_SHEETS * 5 * (500 + 1000 * math.exp(0.1)))


def test_days_of_work_without_end_are_drawn_up_to_a_limit(monkeypatch):
    """60 sheets of 2e6 s are 4,200 days of 8 hours; what they take is still all of it."""
    days = []
    one_day = QuoteWorlds._one_day
    monkeypatch.setattr(
        QuoteWorlds, "_one_day", lambda self, on: days.append(on) or one_day(self, on)
    )
    many = drawn(known(), lines(60, plan_s=2e6), 20)
    assert many.seconds == pytest.approx(60 * (500 + 2e6))
    assert max(days) < MOST_DAYS
    assert many.beyond == 1.0
    assert drawn(known(), lines(3), 20).beyond == 0.0


def test_a_shop_without_a_record_answers_by_what_is_assumed():
    found = drawn(BARE, lines(2, minor_per_s=1.0), 2000)
    assert 1.15 < found.exceeded_with(0.1) / found.exceeded_with(0.5) < 1.8


def test_the_same_seed_says_the_same():
    asked = lines(3, 2)
    one, other = (drawn(BARE, asked, 300) for _ in range(2))
    assert np.array_equal(one.minor, other.minor)
