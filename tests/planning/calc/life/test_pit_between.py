"""How far pits lie from the fitted line, as they were read."""

from __future__ import annotations

import pytest

from planning.calc.life.pit import Rates, Reading, between

USUAL = Rates(0.004, 0.0, 9)


def test_quantiles_of_what_was_read_over_what_is_usual():
    """Parts .5, .6 ... 1.5 of the usual depth at 200 starts: a tenth lies at .6, nine at 1.4."""
    read = [Reading(200, 0, 0.8 * part / 10) for part in range(5, 16)]
    assert between(read, USUAL, 1.6, 0.8) == pytest.approx((0.6, 1.4))


def test_shallow_pits_and_few_of_them_tell_nothing():
    read = [Reading(200, 0, 0.8)] * 5 + [Reading(10, 0, 0.15)] * 9
    assert between(read, USUAL, 1.6, 0.8) is None
