from __future__ import annotations

import math

import numpy as np
import pytest

from planning.calc.life.replay import Advised, Out, replay


def _outs(*lives):
    return [Out(n, n, starts, cost) for n, (starts, cost) in enumerate(lives)]


FIVE = _outs((600, 30.0), (800, 30.0), (400, 30.0), (700, 10.0), (500, 30.0))


def test_saved_is_what_it_cost_less_the_same_starts_at_the_advised_rate():
    """By hand: cost 130 over 3000 starts. Changed at 500 for 10: 10, 10, 30, 10, 30 = 90 over
    500 + 500 + 400 + 500 + 500 = 2400; 130 - 90 / 2400 x 3000 = 17.50. Three come out sooner: one
    gave 500 and one 400."""
    found = replay(FIVE, lambda out: Advised(500.0, 10.0))
    assert found.saved == pytest.approx(17.50)
    assert (found.n, found.sooner, found.starts) == (5, 3, 3000)
    assert found.low < 17.50 < found.high


def test_bad_advice_is_shown_to_cost():
    """Changed at 100 for 10: 50 over 500 starts is 0.10 a start; 3000 starts come to 300."""
    found = replay(FIVE, lambda out: Advised(100.0, 10.0))
    assert found.saved == pytest.approx(130 - 300)
    assert found.high < 0


def test_advice_to_wait_changes_nothing():
    found = replay(FIVE, lambda out: Advised(None, 10.0))
    assert (found.saved, found.sooner) == (0, 0)


def test_what_could_not_be_advised_on_is_no_part_of_the_score():
    assert replay(FIVE, lambda out: None if out.piece == 0 else Advised(None, 10.0)) is None
    assert replay([], lambda out: Advised(None, 1.0)) is None


def test_advice_is_asked_in_the_order_pieces_were_fitted():
    asked = []
    replay(FIVE[::-1], lambda out: asked.append(out.piece))
    assert asked == [0, 1, 2, 3, 4]


def test_the_score_comes_to_the_renewal_theory_of_many_pieces():
    """Life uniform on (0, 1), 1 against 5, changed at 0.5: cost 8 a unit, to the end 10 (Barlow &
    Proschan, as in `test_replacement`): a fifth of the cost is saved. Its 90 % range holds the
    truth in about 90 of 100 shops of 60 pieces."""
    random = np.random.default_rng(7)
    held, shares = 0, []
    for _ in range(200):
        outs = [Out(n, n, float(life), 5.0) for n, life in enumerate(random.uniform(0, 1, 60))]
        found = replay(outs, lambda out: Advised(0.5, 1.0))
        shares.append(found.saved / (10 * found.starts))
        held += found.low <= 2 * found.starts <= found.high
    assert sum(shares) / 200 == pytest.approx(0.2, abs=0.02)
    assert math.isclose(held / 200, 0.9, abs_tol=0.06)
