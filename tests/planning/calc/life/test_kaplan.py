from __future__ import annotations

import time
from random import Random

import pytest

from planning.calc.life.kaplan import hazard_to, median, survival
from planning.calc.life.records import Life
from tests.planning.calc.life.data import NIST, SIX_MP


def test_remission_times_as_every_textbook_has_them():
    """Freireich 1963; a remission censored at 6 still counts at risk at 6: 21."""
    steps = survival(SIX_MP)
    assert [step.age for step in steps] == [6, 7, 10, 13, 16, 22, 23]
    shares = [0.857143, 0.806723, 0.752941, 0.690196, 0.627451, 0.537815, 0.448179]
    errors = [0.07636, 0.08694, 0.09635, 0.10681, 0.11405, 0.12823, 0.13459]
    assert [step.share for step in steps] == pytest.approx(shares, abs=1e-6)
    assert [step.error for step in steps] == pytest.approx(errors, abs=5e-6)
    assert steps[0].at_risk == 21
    at_10 = steps[2]
    assert (at_10.low, at_10.high) == pytest.approx((0.50320, 0.88936), abs=5e-6)
    assert median(steps) == 23
    assert hazard_to(SIX_MP, 23) == pytest.approx(0.752114, abs=1e-6)


def test_the_handbooks_hours_fall_in_even_steps():
    """NIST/SEMATECH e-Handbook 8.4.1.3: 0.95, 0.90 ... 0.50."""
    shares = [step.share for step in survival(NIST)]
    assert shares == pytest.approx([1 - 0.05 * n for n in range(1, 11)])
    assert median(survival(NIST)) == 386
    assert median(survival(NIST[:9] + NIST[10:])) is None


def test_a_piece_is_at_risk_from_the_age_it_was_first_seen_at():
    lives = [Life(100, True), Life(200, True, entered=150), Life(300, True)]
    assert [step.at_risk for step in survival(lives)] == [2, 2, 1]


def test_when_the_last_has_ended_nothing_is_left():
    last = survival([Life(1, True), Life(2, True)])[-1]
    assert (last.share, last.error) == (0, None)


def slow(lives):
    """Share by age, each piece asked at each age."""
    share, found = 1.0, {}
    for age in sorted({life.age for life in lives if life.ended}):
        at_risk = [life for life in lives if life.entered < age <= life.age]
        share *= 1 - sum(life.ended and life.age == age for life in at_risk) / len(at_risk)
        found[age] = (len(at_risk), share)
    return found


def test_steps_agree_with_asking_each_piece_at_each_age():
    random = Random(5)
    for _shop in range(30):
        lives = []
        for _piece in range(random.randint(1, 40)):
            age = random.randint(1, 25)
            lives.append(
                Life(age, random.random() < 0.4, random.choice([0, random.randrange(age)]))
            )
        told = {step.age: (step.at_risk, step.share) for step in survival(lives)}
        expected = slow(lives)
        assert list(told) == list(expected)
        for age, (at_risk, share) in expected.items():
            assert told[age] == (at_risk, pytest.approx(share))


def test_fifty_thousand_pieces_are_no_wait():
    """As many as the largest packaged set of failures has, 1 in 18 ended, each at an age of its own
    (9.7 s where each piece was asked at each age)."""
    random = Random(6)
    lives = [Life(random.expovariate(1 / 700), n % 18 == 0) for n in range(52_422)]
    began = time.process_time()
    assert len(survival(lives)) == 2913
    assert time.process_time() - began < 2
