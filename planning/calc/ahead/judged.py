"""What came of a statement about the end of a list: did it go as listed, and when did it end."""

from __future__ import annotations

import hashlib
import json
import math
from collections.abc import Container, Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import Any, Final

import numpy as np

from planning.calc.ahead.scores import LATEST, LEVELS, chance_of, crps, pit, scaled

DRAWN: Final = 199  # quantiles that stand for the draws, so that a late truth can be placed
HELD: Final = 0.8
OUTSIDE: Final = 0.05  # of the cases that chance alone makes


class Void(StrEnum):
    """Why a statement is not counted: the list changed, no arc of its last run was measured, or
    that run was never closed."""

    LIST = "list"
    UNHEARD = "unheard"
    NEVER = "never"


@dataclass(frozen=True, slots=True)
class Came:
    """A run as it came: the list's item it was opened for, whether it is over, and when its last
    arc went out (epoch s)."""

    run: str
    item: int | None
    over: bool
    last_arc: float | None


def list_hash(listed: Sequence[Mapping[str, Any]]) -> str:
    return hashlib.sha256(json.dumps(listed, sort_keys=True).encode()).hexdigest()


def truth(listed: Sequence[Mapping[str, Any]], came: Sequence[Came]) -> float | Void | None:
    """When the last of a list ended, or why that cannot be said; None while it goes on. `listed`
    are {"run": ID} (on the table when it was said) or {"item": ID}, `came` the table's runs since
    in order of opening, with the one that was on it."""
    order = list(came)
    if "run" in listed[0]:
        known = next((one for one in order if one.run == listed[0]["run"]), None)
        if known is None:
            return Void.LIST
        order.remove(known)
        order.insert(0, known)
    for place, one in enumerate(listed):
        if place == len(order):
            return None
        if "item" in one and order[place].item != one["item"]:
            return Void.LIST
    last = order[len(listed) - 1]
    if not last.over:
        return None
    return Void.UNHEARD if last.last_arc is None else last.last_arc


def overdue(
    listed: Sequence[Mapping[str, Any]], came: Sequence[Came], still: Container[int], high: float
) -> float | Void:
    """Of a list that did not end long after `high`, the upper end of its range: inf where the truth
    is sure to lie above that, or why it is not. `still`: items that are on the table's list yet."""
    begun = {one.item: one for one in came if one.item is not None}
    items = [one["item"] for one in listed if "item" in one]
    if any(item not in begun and item not in still for item in items):
        return Void.LIST
    if items:
        last = begun.get(items[-1])
    else:
        last = next((one for one in came if one.run == listed[-1]["run"]), None)
    if last is None or (last.last_arc is not None and last.last_arc > high):
        return math.inf
    return Void.NEVER


@dataclass(frozen=True, slots=True)
class Score:
    raw_pit: float
    pit: float
    crps: float


def scored(
    drawn: Sequence[float],
    quantiles: Sequence[float],
    scale: float,
    outcome: float,
    *,
    later: bool = False,
) -> Score:
    """Of a range. `drawn` are quantiles of the draws before they were widened by `scale`. `later`:
    all that is known is that it ended after `outcome`; no draw then counts as late enough, and the
    CRPS is the least it can be."""
    raw = pit(np.asarray(drawn), math.inf if later else outcome)
    return Score(raw, scaled(raw, scale), crps(quantiles, LEVELS, outcome))


def inside(quantiles: Sequence[float], outcome: float) -> bool:
    """Whether the range that was shown held."""
    low, high = (LEVELS.index(round(0.5 + side * HELD / 2, 2)) for side in (-1, 1))
    return quantiles[low] <= outcome <= quantiles[high]


def summary(held: Sequence[bool], voided: int, later: int = 0) -> dict[str, int]:
    """Of the last statements, the oldest first: how many held, and between which numbers chance
    alone would leave it. `later` of them had not ended days after their range."""
    last = held[-LATEST:]
    if not last:
        return {"voided": voided} if voided else {}
    low, high = chance_of(len(last), HELD, OUTSIDE)
    found = {"said": len(last), "held": sum(last), "low": low, "high": high, "voided": voided}
    return found | ({"later": later} if later else {})
