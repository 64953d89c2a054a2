"""A small replay with a seed of its own: the ranges hold what they say."""

from __future__ import annotations

from dataclasses import replace

import pytest

from planning.bench.tomorrow.replay import replay
from planning.bench.tomorrow.simulated import TYPED
from planning.bench.tomorrow.tables import summed
from planning.bench.tomorrow.worlds import PLAIN, book_of, simulate
from planning.calc.ahead.scores import chance_of

SHOPS = 3


@pytest.mark.long
def test_ranges_of_simulated_shops_hold_what_they_promise():
    """Ranges of one moment hang together, so only ends of shifts, one a moment, are held against
    chance; all ranges have room for that."""
    world = replace(PLAIN, days=52)
    shifts = range(world.known_days, world.days - 3)
    replays = [
        replay([book_of(simulate(world, 4_400 + number))], shifts, TYPED, number, (1.0,))
        for number in range(SHOPS)
    ]
    found = summed(replays)
    ends = found["ends"]
    low, high = chance_of(ends["n"], 0.8, 0.01)
    assert ends["n"] >= 25
    assert low <= ends["held_80"] * ends["n"] <= high
    assert 0.68 <= found["all"]["held_80"] <= 0.92
    assert found["promises"]["skill"] > 0.2
