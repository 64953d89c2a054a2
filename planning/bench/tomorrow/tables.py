"""A replay as shares: which part of the ranges held, by what lay ahead."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from typing import Any, Final

from planning.bench.tomorrow.replay import Promised, Ranged, Replay
from planning.calc.ahead.scores import brier, skill

LEVELS: Final = (0.5, 0.8, 0.9)
LEAST: Final = 100  # a stratum of fewer says too little to be judged
WHOLE, STRATUM = (0.78, 0.82), (0.74, 0.86)
LEAST_SKILL: Final = 0.2


def held(ranges: Sequence[Ranged], level: float) -> float | None:
    """Share of truths inside the middle `level` of what was said."""
    low = (1 - level) / 2
    inside = sum(low < one.pit < 1 - low for one in ranges)
    return inside / len(ranges) if ranges else None


def coverage(ranges: Sequence[Ranged]) -> dict[str, Any]:
    return {
        "n": len(ranges),
        **{f"held_{round(level * 100)}": held(ranges, level) for level in LEVELS},
    }


def strata(ranges: Sequence[Ranged]) -> dict[str, dict[str, Any]]:
    """By hours since the shift's start, runs ahead and set changes ahead."""
    found: dict[str, dict[str, Any]] = {}
    for name, key in _KEYS.items():
        for value in sorted({key(one) for one in ranges}):
            own = [one for one in ranges if key(one) == value]
            found[f"{name} {value:g}"] = coverage(own)
    return found


_KEYS: Final[dict[str, Callable[[Ranged], float]]] = {
    "hour": lambda one: one.hour,
    "runs ahead": lambda one: one.runs_ahead,
    "set changes ahead": lambda one: min(one.changes_ahead, 2),
}


def promises(said: Sequence[Promised]) -> dict[str, Any]:
    """How chances of being done by the end of the shift came true, in bands of the chance."""
    chances, done = [one.said for one in said], [one.done for one in said]
    bands = []
    for low in (0.0, 0.2, 0.4, 0.6, 0.8):
        own = [one for one in said if low <= one.said < low + 0.2 or (low == 0.8 and one.said == 1)]
        if own:
            bands.append(
                {"n": len(own), "said": sum(one.said for one in own) / len(own),
                 "done": sum(one.done for one in own) / len(own)}
            )  # fmt: skip
    if not said:
        return {"n": 0, "bands": []}
    return {
        "n": len(said),
        "brier": brier(chances, done),
        "skill": skill(chances, done),
        "bands": bands,
    }


def summed(replays: Iterable[Replay]) -> dict[str, Any]:
    """All shops of one world together."""
    ranges, ends, said = [], [], []
    for one in replays:
        ranges += one.ranges
        ends += one.ends
        said += one.promises
    return {
        "all": coverage(ranges),
        "ends": coverage(ends),
        "promises": promises(said),
        "strata": strata(ranges),
    }


def missed(name: str, answer: dict[str, Any]) -> list[str]:
    """Which goals this world misses, as `name: what`."""
    found = []
    share = answer["all"]["held_80"]
    if share is not None and not WHOLE[0] <= share <= WHOLE[1]:
        found.append(f"{name}: 80 % ranges hold {share:.1%}")
    for stratum, one in answer["strata"].items():
        share = one["held_80"]
        if one["n"] >= LEAST and not STRATUM[0] <= share <= STRATUM[1]:
            found.append(f"{name}, {stratum}: 80 % ranges hold {share:.1%}")
    gained = answer["promises"].get("skill")
    if gained is not None and gained < LEAST_SKILL:
        found.append(f"{name}: promises have a skill of {gained:.2f}")
    return found
