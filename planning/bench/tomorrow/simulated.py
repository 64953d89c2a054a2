"""Replays of simulated shops."""

from __future__ import annotations

from typing import Any, Final

from planning.bench.tomorrow.replay import replay
from planning.bench.tomorrow.tables import summed
from planning.bench.tomorrow.worlds import WORLDS, World, book_of, simulate
from planning.calc.ahead.records import Typical

TYPED: Final = Typical(load_s=300.0, unload_s=240.0)  # not what they take: a shop's first guess
SEED: Final = 20_261_130


def world(one: World, *, shops: int, every: int, hours: tuple[float, ...]) -> dict[str, Any]:
    """`shops` of that kind, each replayed at every `every`-th shift from `known_days` on."""
    replays = []
    for number in range(shops):
        book = book_of(simulate(one, SEED + number))
        shifts = range(one.known_days, one.days - 3, every if one.days > 10 else 1)
        replays.append(replay([book], shifts, TYPED, number, hours))
    return summed(replays)


def worlds(*, shops: int, every: int, hours: tuple[float, ...]) -> dict[str, dict[str, Any]]:
    return {one.name: world(one, shops=shops, every=every, hours=hours) for one in WORLDS}
