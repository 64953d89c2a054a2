"""Barlow & Proschan 1965, ch. 4."""

from __future__ import annotations

import math

import numpy as np
import pytest

from planning.calc.life.posterior import Posterior
from planning.calc.life.replacement import of_posterior, of_survival, of_weibull
from planning.calc.life.weibull import Weibull, fit
from tests.planning.calc.life.data import NIST


@pytest.mark.parametrize(
    ("scale", "shape", "age", "cost", "to_the_end"),
    [
        # the first as a published text on system analysis prints it: 493.0470
        (1000, 2.5, 493.04696, 0.00346204, 0.00563530),
        (1000, 2.0, 510.65522, 0.00408524, 0.00564190),
        (606.5276, 1.720797, 340.47764, 0.00748498, 0.00924664),
    ],
)
def test_published_change_ages(scale, shape, age, cost, to_the_end):
    found = of_weibull(Weibull(shape, scale), 1, 5)
    assert found.age == pytest.approx(age, rel=1e-4)
    assert found.cost == pytest.approx(cost, rel=1e-6)
    assert found.to_the_end == pytest.approx(to_the_end, rel=1e-5)
    assert found.low < age < found.high


TIMES = (2, 3, 5, 10, 20)
BY_SHAPE = {
    1.5: (2.17464, 1.15708, 0.67549, 0.37814, 0.22612),
    2: (1.09080, 0.73791, 0.51066, 0.33645, 0.23043),
    2.5: (0.88360, 0.65686, 0.49305, 0.35457, 0.26238),
    3: (0.81034, 0.63655, 0.50261, 0.38246, 0.29777),
    4: (0.76611, 0.64159, 0.53840, 0.43910, 0.36410),
}


@pytest.mark.parametrize(
    ("shape", "times", "age"),
    [(s, t, age) for s, ages in BY_SHAPE.items() for t, age in zip(TIMES, ages, strict=True)],
)
def test_the_scale_free_table(shape, times, age):
    found = of_weibull(Weibull(shape, 1.0), 1, times)
    assert found.age == pytest.approx(age, rel=1e-4)
    # at the optimum C = (failed - planned) h(T)
    hazard = shape * found.age ** (shape - 1)
    assert found.cost == pytest.approx((times - 1) * hazard, rel=1e-3)


def test_even_lives_have_closed_forms():
    """Life uniform on (0, 1): cost 1 against 5 gives 0.5 and 8; 1 against 2 sqrt 3 - 1 and 2 + sqrt
    3."""
    for failed, age, cost in ((5, 0.5, 8.0), (2, math.sqrt(3) - 1, 2 + math.sqrt(3))):
        found = of_survival(lambda ages: 1 - ages, 1.0, 1, failed)
        assert found.age == pytest.approx(age, rel=1e-4)
        assert found.cost == pytest.approx(cost, rel=1e-6)


@pytest.mark.parametrize(("shape", "failed"), [(1.0, 5), (0.8, 5), (2.5, 1), (2.5, 0.5)])
def test_where_a_change_ahead_gains_nothing_none_is_advised(shape, failed):
    found = of_weibull(Weibull(shape, 100), 1, failed)
    assert found.age is None
    assert found.cost == pytest.approx(failed / Weibull(shape, 100).mean)


def test_costs_must_be_costs():
    with pytest.raises(ValueError, match="costs something"):
        of_weibull(Weibull(2, 100), 0, 5)


def test_a_cloud_of_one_life_is_that_life():
    one = Posterior(np.array([2.5]), np.array([1000.0]), np.array([1.0]), 9, 9)
    assert of_posterior(one, 1, 5).age == pytest.approx(493.04696, rel=1e-4)


def test_a_cloud_from_much_data_comes_to_the_best_fit():
    many = Posterior.of(NIST * 30, 600)
    plain = of_weibull(fit(NIST).life, 1, 5)
    assert of_posterior(many, 1, 5).age == pytest.approx(plain.age, rel=0.03)
