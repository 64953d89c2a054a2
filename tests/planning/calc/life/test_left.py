from __future__ import annotations

import math

import numpy as np
import pytest

from planning.calc.life.left import left
from planning.calc.life.pit import (
    PitSays,
    Rates,
    Reading,
    pit_says,
    rates,
    scatter,
    told_ages,
)
from planning.calc.life.posterior import Posterior
from planning.calc.life.records import Life, TooLittleData
from tests.planning.calc.life.data import BEARINGS


def _sure(shape: float, scale: float) -> Posterior:
    return Posterior(np.array([shape]), np.array([scale]), np.array([1.0]), 50, 50)


def test_a_known_life_gives_what_is_left_in_closed_form():
    """S(t + x) / S(t) = q for Weibull: x = scale ((t/scale)^k - ln q)^(1/k) - t."""
    found = left(_sure(2.0, 1000), 600)
    for share in (0.1, 0.5, 0.9):
        exact = 1000 * math.sqrt(0.6**2 - math.log(1 - share)) - 600
        assert found.by(share) == pytest.approx(exact, rel=5e-3)
    assert found.reaches(0) == 1
    assert found.reaches(10**9) == 0


def test_a_constant_hazard_forgets_the_age():
    new, old = left(_sure(1.0, 500), 0), left(_sure(1.0, 500), 900)
    assert old.median == pytest.approx(new.median, rel=1e-3)


def test_before_any_piece_has_ended_the_rated_life_carries_it():
    prior = Posterior.of([], 600)
    assert prior.mean == pytest.approx(600 * math.exp(0.5**2 / 2), rel=0.02)
    low, high = prior.mean_between(0.6827)  # one standard deviation of ln mean: 0.5
    assert math.log(high / low) == pytest.approx(1.0, rel=0.05)
    assert prior.ends == 0


def test_many_pieces_outweigh_a_wrong_rating():
    wrong = Posterior.of(BEARINGS * 4, 30.0)
    assert wrong.mean == pytest.approx(72.22, rel=0.05)


@pytest.mark.parametrize("rated", [6, 600, 6000])
def test_a_rating_wrong_ten_or_a_hundred_times_gives_way(rated):
    """Thirty ends at 55 to 65: their mean is 60, whatever was rated."""
    lives = [Life(55 + n % 11, True) for n in range(30)]
    found = Posterior.of(lives, rated)
    assert found.mean == pytest.approx(60, rel=0.1)
    low, high = found.mean_between(0.9)
    assert low < 60 * 1.1
    assert high - low < 15


def test_without_rating_three_ends_are_needed():
    with pytest.raises(TooLittleData, match="3 needed"):
        Posterior.of(BEARINGS[:2], None)
    assert Posterior.of(BEARINGS, None).mean == pytest.approx(72.22, rel=0.06)


def test_a_piece_that_has_outlived_all_others_still_has_an_answer():
    found = left(Posterior.of(BEARINGS, 70), 400)
    low, high = found.between(0.8)
    assert 0 <= low < found.median < high < 400


def test_what_the_pieces_own_pit_says_narrows_it():
    lives = Posterior.of([], 600)
    alone = left(lives, 300)
    told = left(lives, 300, PitSays(500, 0.1, 2))
    assert told.median == pytest.approx(200, abs=25)
    wide, narrow = (found.between(0.8) for found in (alone, told))
    assert narrow[1] - narrow[0] < (wide[1] - wide[0]) / 2


def test_pits_part_into_starts_and_arc_time():
    """0.002 mm a start and 0.0001 mm a second of arc, without error: found exactly."""
    made = [(100, 900), (200, 7000), (300, 2000), (400, 9000), (150, 4000), (350, 300)]
    readings = [Reading(n, s, 0.002 * n + 0.0001 * s) for n, s in made]
    found = rates(readings)
    assert (found.per_start, found.per_arc_s) == pytest.approx((0.002, 0.0001), rel=1e-9)
    assert found.n == 6
    # few readings: by starts alone
    assert rates(readings[:3]).per_arc_s == 0
    assert rates([]) is None
    assert rates([Reading(0, 0, 0.4)]) is None


def test_a_pit_tells_the_age_at_its_limit():
    """0.4 mm after 200 starts: 1.6 mm at 800; twice the usual wear, half of the age."""
    usual = Rates(0.002, 0.0, 9)
    assert told_ages([Reading(200, 1000, 0.4)], usual, 1.6) == pytest.approx([800])
    assert told_ages([Reading(200, 1000, 0.8)], usual, 1.6) == pytest.approx([400])
    # half of the wear is arc time: what comes is like what was
    both = Rates(0.001, 0.0002, 9)
    assert told_ages([Reading(200, 1000, 0.4)], both, 1.6) == pytest.approx([800])
    assert told_ages([Reading(200, 1000, 0.05)], both, 1.6) == []


def test_pieces_that_ended_teach_how_far_pits_are_to_be_believed():
    nothing = scatter([])
    assert (nothing.bias, nothing.pieces) == (0, 0)
    early = scatter([(900.0, [1000.0, 1000.0])] * 40)
    assert early.bias == pytest.approx(math.log(0.9), rel=0.1)
    assert early.piece_sd < nothing.piece_sd
    assert early.reading_sd < nothing.reading_sd
    loose = scatter([(600.0, [1000.0]), (1600.0, [1000.0])] * 10)
    assert loose.piece_sd > 0.4
    says = pit_says([1000, 1000, 1000, 1000], nothing)
    assert says.age == pytest.approx(1000)
    assert says.sd == pytest.approx(math.hypot(0.15, 0.05))
    assert pit_says([], nothing) is None
