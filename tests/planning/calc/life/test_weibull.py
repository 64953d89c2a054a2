from __future__ import annotations

import math
from dataclasses import replace

import pytest

from planning.calc.life.posterior import Posterior
from planning.calc.life.records import Life, SeenTooShort, TooLittleData
from planning.calc.life.weibull import fit
from tests.planning.calc.life.data import BEARINGS, NIST, PLACEBO, SIX_MP

CLOSE = {"rel": 1e-6}


def test_censored_hours_as_the_handbook_has_them():
    """NIST/SEMATECH e-Handbook 8.4.1.3 prints 606.5280 and 1.7208, log-likelihood 75.135 without
    its sign, AIC 154.27; lifelines, reliability and surpyval agree with the further digits."""
    found = fit(NIST)
    assert found.life.shape == pytest.approx(1.72079721, **CLOSE)
    assert found.life.scale == pytest.approx(606.527558, **CLOSE)
    assert found.log_likelihood == pytest.approx(-75.134618, **CLOSE)
    assert found.aic == pytest.approx(154.269236, **CLOSE)
    assert found.life.mean == pytest.approx(540.737026, **CLOSE)
    assert found.life.spread == pytest.approx(323.805824, **CLOSE)
    assert found.life.age_by(0.1) == pytest.approx(164.0224, **CLOSE)
    assert (found.ends, found.pieces) == (10, 20)


@pytest.mark.parametrize(
    ("lives", "shape", "scale", "log_likelihood"),
    [
        (BEARINGS, 2.10205887, 81.878334, -113.691291),  # published 2.10 and 81.9
        (SIX_MP, 1.353735, 33.76515, -41.658679),
        (PLACEBO, 1.370500, 9.482145, None),
    ],
    ids=["bearings", "6-MP", "placebo"],
)
def test_published_sets(lives, shape, scale, log_likelihood):
    found = fit(lives)
    assert found.life.shape == pytest.approx(shape, **CLOSE)
    assert found.life.scale == pytest.approx(scale, **CLOSE)
    if log_likelihood is not None:
        assert found.log_likelihood == pytest.approx(log_likelihood, **CLOSE)


def test_pieces_first_seen_with_an_age_as_two_libraries_fit_them():
    """The handbook's units with entry ages: lifelines 0.30.3 and surpyval 0.25 give these."""
    entered = [0, 50, 0, 100, 0, 200, 0, 0, 300, 0, *[0, 100, 200, 300, 400] * 2]
    found = fit([replace(life, entered=at) for life, at in zip(NIST, entered, strict=True)])
    assert found.life.shape == pytest.approx(1.35226, rel=1e-5)
    assert found.life.scale == pytest.approx(515.78936, rel=1e-5)


def test_the_range_of_the_mean_is_where_the_likelihood_has_fallen_by_so_much():
    """By hand on one parameter: with the shape free the range must hold the one with it fixed,
    where 2 d (x - 1 - ln x), x = (eta hat / eta)^k, is chi-square (1 + 1/d)."""
    found = fit(BEARINGS)
    drop = 2.705543454 * (1 + 1 / 23)  # chi-square of 1 at .90
    shape, scale = found.life.shape, found.life.scale

    def fall(eta):
        x = (scale / eta) ** shape
        return 2 * 23 * (x - 1 - math.log(x))

    low = found.mean.low / found.life.mean * scale
    high = found.mean.high / found.life.mean * scale
    assert fall(low) >= drop * 0.95
    assert fall(high) >= drop * 0.95
    assert found.mean.low < found.life.mean < found.mean.high
    assert found.shape.low < shape < found.shape.high


@pytest.mark.parametrize("by", [0.001, 0.3, 25.4, 40_000])
def test_another_unit_scales_the_scale_and_leaves_the_shape(by):
    found = fit([Life(life.age * by, life.ended) for life in NIST])
    assert found.life.shape == pytest.approx(1.72079721, **CLOSE)
    assert found.life.scale == pytest.approx(606.527558 * by, **CLOSE)


@pytest.mark.parametrize("ends", [0, 1, 2])
def test_fewer_than_three_ends_give_no_estimate(ends):
    lives = [Life(100 + 10 * i, i < ends) for i in range(12)]
    with pytest.raises(TooLittleData, match=f"{ends} ended"):
        fit(lives)


def test_hardly_any_information_is_declined():
    """As of 4,082 parts of which 10 failed within hours, most in the first: a plain fit gives shape
    0.15 and a scale of 6e21 (checked against a published set of the kind)."""
    early = [8, 227, 300, 450, 1500, 2, 12, 40, 75, 100]
    lives = [Life(age, True) for age in early] + [Life(10_000, False)] * 4072
    with pytest.raises(TooLittleData, match="too short"):
        fit(lives)
    with pytest.raises(TooLittleData, match="no shape"):
        fit([Life(50, True)] * 6)


def test_a_piece_cannot_enter_after_it_ended():
    with pytest.raises(ValueError, match="cannot have entered"):
        Life(10, True, entered=11)


def test_ten_early_ends_of_four_thousand_pieces_tell_no_life():
    """Packaged as "electronics" with reliability 0.9.0: all ended within 220 h, the others ran 200
    times as long. A plain fit gives shape .154 and scale 6e21."""
    ends = (220, 179, 123, 146, 199, 181, 191, 216, 1, 73)
    running = {44_798: 817, 62_715: 823, 81_474: 815, 80_632: 813, 62_716: 804}
    lives = [Life(age, True) for age in ends]
    lives += [Life(age, False) for age, n in running.items() for _ in range(n)]
    with pytest.raises(SeenTooShort, match="too short for a mean life"):
        fit(lives)
    with pytest.raises(SeenTooShort, match="too short for a mean life"):
        Posterior.of(lives, None)
    assert Posterior.of(lives, 70_000).ends == 10  # a rating says what they do not
