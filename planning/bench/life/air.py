"""How often failures are called more than chance in simulated shops where nothing is wrong, and how
soon where lives suddenly halve. Each shop has three sets of an electrode and a nozzle, is looked at
every day for a year, and each week's failures are expected from what was on record before it."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Final

import numpy as np

from planning.calc.life.air import RARE as RARE
from planning.calc.life.failures import (
    WEEK_US,
    Dated,
    Expected,
    PartAtRisk,
    expected,
    looks,
)

SEED: Final = 20_261_201
RATED: Final = 400
BEFORE, YEAR = 13, 52  # weeks on record before anybody looks, and looked at
WORSE_FROM, WORSE_FOR = BEFORE + 20, 12  # weeks of bad air
SETS: Final = 3
DAY_US = WEEK_US // 7
HALVED: Final = "lives halve"
WORLDS: Final = ("as usual", "lives are lognormal", "busy and slack weeks", HALVED)


@dataclass(frozen=True, slots=True)
class Year:
    """The first day on which something was called more than chance, by day of the year; None:
    never. `seen` and `expected` of all its weeks."""

    called: int | None
    seen: int
    expected: float


def score(shops: int) -> dict[str, Any]:
    """By world: shops, in how many of 100 something was called within the year (where lives halve:
    within 12 weeks of it), the median of the days until then, and failures for each expected."""
    random = np.random.default_rng(SEED)
    found = {}
    for world in WORLDS:
        years = [year(random, world) for _ in range(shops)]
        worse = world == HALVED
        first = (WORSE_FROM - BEFORE) * 7 if worse else 0
        last = first + WORSE_FOR * 7 if worse else YEAR * 7
        called = [one.called for one in years if one.called is not None]
        after = [day - first for day in called if first <= day < last]
        found[world] = {
            "shops": shops,
            "called": len(after) / shops,
            "days": float(np.median(after)) if after else None,
            "ratio": sum(one.seen for one in years) / sum(one.expected for one in years),
        }
    return found


def year(random: np.random.Generator, world: str) -> Year:
    weeks = BEFORE + YEAR
    edges = [week * WEEK_US for week in range(weeks + 1)]
    told: dict[tuple[int, int], list[Expected]] = {}
    ended: list[tuple[int, int]] = []
    for group in range(SETS):
        spread = 0.7 if world == "busy and slack weeks" else 0.25
        starts = 400 * np.exp(random.normal(0, spread, weeks))
        for kind in range(2):
            pieces = _pieces(random, world, starts)
            part = PartAtRisk(2 * group + kind, group, RATED, tuple(pieces))
            told[group, part.part] = expected(part, edges)
            ended += [(group, one.ended_us) for one in pieces if one.ended_us is not None]
    after = [week.mean or 0.0 for own in told.values() for week in own[BEFORE:]]
    return Year(
        called(told, ended, range(BEFORE * 7, weeks * 7)),
        sum(at >= edges[BEFORE] for _group, at in ended),
        sum(after),
    )


def called(
    told: dict[tuple[int, int], list[Expected]],
    ended: Sequence[tuple[int, int]],
    days: range,
) -> int | None:
    """The first of these days, from the first of them on, at whose end somebody who looks is told
    that it is more than chance. What a week expects comes evenly over its days."""
    for day in days:
        end_us = (day + 1) * DAY_US
        seen = [(group, (end_us - 1 - at) // WEEK_US) for group, at in ended if at < end_us]
        whole, more = divmod(day + 1, 7)
        rolled = {key: _rolled(own, whole, more / 7) for key, own in told.items()}
        if any(look.excess.rare for look in looks(rolled, seen)):
            return day - days.start
    return None


def _rolled(own: Sequence[Expected], whole: int, part: float) -> list[Expected]:
    """The four weeks up to so many whole weeks and a part of the next."""
    found = []
    for at in range(max(whole - 4, 0), whole):
        late = own[min(at + 1, len(own) - 1)] if part else own[at]
        if own[at].mean is None or late.mean is None:
            found.append(Expected(None))
            continue
        mean = (1 - part) * (own[at].mean or 0.0) + part * (late.mean or 0.0)
        found.append(Expected(mean, (1 - part) * own[at].sd + part * late.sd))
    return found


def _pieces(
    random: np.random.Generator, world: str, starts: np.ndarray[Any, np.dtype[np.float64]]
) -> list[Dated]:
    """One piece after the other in one torch; three in ten are changed for another reason first."""
    shape, mean = random.uniform(1.5, 3.5), RATED * math.exp(random.normal(0, 0.4))
    clock = np.concatenate([[0.0], np.cumsum(np.repeat(starts / 7, 7))])  # starts by day
    found: list[Dated] = []
    at = 0.0
    while at < clock[-1]:
        life = _life(random, world, shape, mean)
        end = _end(at, life, clock, halved=world == HALVED)
        out = at + random.uniform(0.2, 1.0) * (end - at) if random.random() < 0.3 else end
        stop = min(out, clock[-1])
        edges = np.searchsorted(clock, [at, stop])
        marks = np.concatenate([[at], clock[edges[0] : edges[1]], [stop]])
        used = np.diff(np.interp(marks, clock, np.arange(len(clock)) * DAY_US))
        since = np.interp(marks, clock, np.arange(len(clock)) * DAY_US)
        uses = tuple(
            (int(since[i] + used[i] / 2), float(marks[i + 1] - marks[i]))
            for i in range(len(marks) - 1) if marks[i + 1] > marks[i]
        )  # fmt: skip
        ended = int(since[-1]) if out == end and stop == out else None
        found.append(Dated(len(found), float(stop - at), 0.0, int(since[0]), ended, uses))
        at = stop
    return found


def _life(random: np.random.Generator, world: str, shape: float, mean: float) -> float:
    if world == "lives are lognormal":
        spread = 1.0 / shape
        return float(mean * math.exp(random.normal(-(spread**2) / 2, spread)))
    return float(mean / math.gamma(1 + 1 / shape) * random.weibull(shape))


def _end(
    at: float, life: float, clock: np.ndarray[Any, np.dtype[np.float64]], *, halved: bool
) -> float:
    """Where on the torch's count of starts it ends: while lives are halved a start takes two."""
    if not halved:
        return at + life
    low = float(clock[WORSE_FROM * 7])
    high = float(clock[(WORSE_FROM + WORSE_FOR) * 7])
    good = max(0.0, low - at)
    if life <= good:
        return at + life
    bad = max(0.0, high - max(at, low))
    rest = life - good
    return max(at, low) + rest / 2 if rest <= 2 * bad else max(at, high) + rest - 2 * bad
