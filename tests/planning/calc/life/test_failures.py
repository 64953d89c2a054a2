"""Failures expected of pieces as they burnt."""

from __future__ import annotations

import pytest

from planning.calc.life.failures import (
    WEEK_US,
    Dated,
    Expected,
    PartAtRisk,
    counted_up,
    expected,
    looks,
)
from planning.calc.life.posterior import Posterior
from planning.calc.life.records import Life

EDGES = [0, WEEK_US, 2 * WEEK_US]
DAY = WEEK_US // 7
KNOWN = tuple(Life(age, True) for age in (300.0, 400.0, 500.0))


def _piece(pk, uses, *, ended_us=None, entered=0.0, before=0):
    burnt = sum(starts for _at, starts in uses)
    return Dated(pk, entered + before + burnt, entered, -DAY, ended_us, tuple(uses))


def test_what_is_expected_is_the_growth_of_each_pieces_hazard():
    """One goes from 100 to 250 starts in the first week, and another from 0 to 50 in the second."""
    one = _piece(1, [(DAY, 100), (2 * DAY, 50)], before=100)
    other = _piece(2, [(8 * DAY, 50)])
    first, second = expected(PartAtRisk(7, 1, 400, (one, other), KNOWN), EDGES)
    lives = [*KNOWN, Life(100.0, False), Life(0.0, False)]
    assert first.mean == pytest.approx(Posterior.of(lives, 400).hazard(100, 250))
    lives = [*KNOWN, Life(250.0, False), Life(0.0, False)]
    assert second.mean == pytest.approx(Posterior.of(lives, 400).hazard(0, 50))
    assert 0 < second.sd < 3 * second.mean


def test_a_weeks_failures_do_not_speak_for_themselves():
    """A piece that fails in the second week is one that lasted so long for the expectation of it,
    and one that ended for a third week's."""
    uses = [(9 * DAY, 80)]
    fails, lasts = _piece(1, uses, ended_us=10 * DAY), _piece(1, uses)
    edges = [*EDGES, 3 * WEEK_US]
    more = _piece(2, [(15 * DAY, 40)])

    def of(piece):
        return expected(PartAtRisk(7, 1, 400, (piece, more), KNOWN), edges)

    assert of(fails)[1] == of(lasts)[1]
    assert of(fails)[2].mean > of(lasts)[2].mean


def test_too_few_ends_expect_nothing():
    part = PartAtRisk(7, 1, 400, (_piece(1, [(DAY, 100)]),), KNOWN[:2])
    assert expected(part, EDGES)[0].mean is None


def test_pieces_alike_in_another_set_are_learned_from_and_not_counted():
    own, other = _piece(1, [(8 * DAY, 50)]), _piece(2, [(DAY, 90)], ended_us=2 * DAY)
    alone = expected(PartAtRisk(7, 1, 400, (own,), KNOWN), EDGES)
    beside = expected(PartAtRisk(7, 1, 400, (own,), KNOWN, (other,)), EDGES)
    assert beside[0].mean == alone[0].mean == 0
    assert beside[1].mean > alone[1].mean  # one more has ended early


def test_sets_are_looked_at_beside_all_and_each_look_counts():
    told = {(1, 1): [Expected(2.0)] * 4, (2, 2): [Expected(1.0)] * 3 + [Expected(None)]}
    found = {(one.group, one.weeks): one.excess for one in looks(told, [(1, 0), (1, 3), (2, 1)])}
    assert list(found) == [(None, 2), (None, 4), (1, 2), (1, 4), (2, 2), (2, 4)]
    assert (found[None, 2].seen, found[None, 2].expected) == (2, 5.0)
    assert (found[None, 4].seen, found[None, 4].expected) == (3, 11.0)
    assert (found[2, 2].seen, found[2, 2].expected) == (1, 1.0)
    [one, _month] = looks({(1, 1): [Expected(2.0)] * 4}, [(1, 0)] * 13)
    six = [one for one in looks(told, [(1, 0)] * 13) if one.group == 1]
    # 4 expected in a fortnight: 4.4 years of 100, by 2 looks or by 6
    assert (one.excess.year, six[0].excess.year) == pytest.approx((0.088, 0.263), abs=0.002)


def test_what_is_expected_is_counted_up_with_its_range():
    told = {(1, 1): [Expected(None), Expected(4.0), Expected(6.0)]}
    assert counted_up(told, 0.90) == [None, (4.0, 1, 8), (10.0, 5, 15)]


def test_a_week_in_which_nothing_burnt_is_known_only_once_enough_has_ended():
    idle = _piece(1, [(8 * DAY, 100)])
    assert expected(PartAtRisk(7, 1, 400, (idle,), KNOWN[:2]), EDGES)[0].mean is None
    assert expected(PartAtRisk(7, 1, 400, (idle,), KNOWN), EDGES)[0].mean == 0
