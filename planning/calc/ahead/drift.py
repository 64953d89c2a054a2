"""Whether a shop goes on as it did: each shift is scored against those before it, figure by figure,
and what stays away from them is named.

A shift's value of a figure is scored as Student's t of all shifts before it, turned into a normal
score; scores are summed two-sided above `SLACK` (tabular cusum), and a sum above `LIMIT` is a
change that began where the sum left zero. Where shifts hang together the scores are divided by
what a mean of such shifts varies more. Sources, from memory: Hawkins 1987 (self-starting cusum);
Page 1954; Montgomery, Introduction to Statistical Quality Control. Not valid for a shop that
changes all the time: then every few weeks a change is named.
"""

from __future__ import annotations

import math
from collections import Counter, defaultdict
from collections.abc import Hashable, Sequence
from dataclasses import dataclass
from enum import StrEnum
from itertools import pairwise
from statistics import mean, median
from typing import Final

from planning.calc.ahead.records import Records, Step

SLACK: Final = 0.5
LIMIT: Final = 6.0
LEAST_H: Final = 0.5  # of cutting, that a shift counts with
LEAST: Final = 12  # shifts before the first score that counts
MOST: Final = 90  # shifts that are looked at
NEWS: Final = 10  # shifts that a change is told for
FEW: Final = 10.0  # shifts without a bond, our assumption
MOST_BOND: Final = 0.8
MOST_SCORE: Final = 3.0  # one odd shift is not a change
NEST_RUNS, CELL_RUNS = 2, 3  # before, that a run's usual ratio is taken from


class Figure(StrEnum):
    """What can move: seconds of cutting against plan, loading, stoppages by hour of cutting, set
    changes."""

    BURNING = "burning"
    LOADING = "loading"
    STOPS = "stops"
    CHANGES = "changes"


@dataclass(frozen=True, slots=True)
class Drift:
    """A change: it began with table-day `since` and was named on `noticed`, `shifts` later.
    `before` and `now` are the figure's ordinary values of `shifts_before` and since: a ratio to
    plan and its like, seconds, stoppages an hour of cutting, seconds."""

    figure: Figure
    since: int
    noticed: int
    before: float
    now: float
    shifts_before: int
    shifts: int


@dataclass(frozen=True, slots=True)
class Shift:
    """A figure on one table-day: what is scored, and the value a person reads."""

    day: int
    score: float
    value: float


def drifts(records: Records) -> list[Drift]:
    """All changes of the last `MOST` table-days, the oldest first."""
    days = sorted({cut.day for cut in records.cuts})[-MOST:]
    first = days[0] if days else 0
    found = [
        one
        for figure, shifts in shifts_of(records).items()
        for one in changes(figure, [each for each in shifts if each.day >= first])
    ]
    return sorted(found, key=lambda one: one.noticed)


def recent(records: Records) -> list[Drift]:
    """The newest change of each figure that was noticed within the last `NEWS` table-days: later
    it is how the table works."""
    days = sorted({cut.day for cut in records.cuts})
    since = days[-NEWS:][0] if days else 0
    newest = {one.figure: one for one in drifts(records)}
    return [one for one in newest.values() if one.noticed >= since]


def shifts_of(records: Records) -> dict[Figure, list[Shift]]:
    return {
        Figure.BURNING: _burning(records),
        Figure.LOADING: _handling(records, Step.LOAD),
        Figure.STOPS: _stops(records),
        Figure.CHANGES: _handling(records, Step.CHANGE),
    }


def _burning(records: Records) -> list[Shift]:
    """Each run against the earlier ones of its nest, else of its cell: another mix of work is no
    change. The value is how many times as long as those it took."""
    nests: dict[Hashable, list[float]] = defaultdict(list)
    cells: dict[Hashable, list[float]] = defaultdict(list)
    found: dict[int, list[tuple[float, float]]] = defaultdict(list)
    for cut in records.cuts:
        y = math.log(cut.took_s / cut.plan_s)
        own, like = nests[cut.nest], cells[cut.cell]
        usual = (
            median(own[-10:]) if len(own) >= NEST_RUNS
            else median(like[-30:]) if len(like) >= CELL_RUNS
            else None
        )  # fmt: skip
        if usual is not None:
            found[cut.day].append((y - usual, y))
        own.append(y)
        like.append(y)
    return [
        Shift(day, mean(one[0] for one in own), math.exp(mean(one[1] for one in own)))
        for day, own in sorted(found.items())
    ]


def _handling(records: Records, step: Step) -> list[Shift]:
    found: dict[int, list[float]] = defaultdict(list)
    for one in records.handling:
        if one.step is step and one.seconds > 0:
            found[one.day].append(math.log(one.seconds))
    return [Shift(day, mean(own), math.exp(mean(own))) for day, own in sorted(found.items())]


def _stops(records: Records) -> list[Shift]:
    """Roots of counts against those of the rate before: of counts they vary alike, many or few
    (Anscombe 1948), however long was cut."""
    cut_s: dict[int, float] = defaultdict(float)
    for cut in records.cuts:
        cut_s[cut.day] += cut.took_s
    counts = Counter(stop.day for stop in records.stops)
    found: list[Shift] = []
    seen, passed_h = 0, 0.0
    for day, seconds in sorted(cut_s.items()):
        hours = seconds / 3600
        if hours > LEAST_H:
            due = seen / passed_h * hours if passed_h else float(counts[day])
            score = math.sqrt(counts[day] + 0.375) - math.sqrt(due + 0.375)
            found.append(Shift(day, score, counts[day] / hours))
            seen, passed_h = seen + counts[day], passed_h + hours
    return found


def changes(figure: Figure, shifts: Sequence[Shift]) -> list[Drift]:
    """Changes of one figure; after each its ordinary value is learnt anew."""
    found, start = [], 0
    while (one := _change(figure, shifts[start:])) is not None:
        found.append(one[0])
        start += one[1]
    return found


def _change(figure: Figure, shifts: Sequence[Shift]) -> tuple[Drift, int] | None:
    """The first change, and the place it began at."""
    scores: list[float] = []
    up = down = 0.0
    up_from = down_from = 0
    for place in range(2, len(shifts)):
        scores.append(_score([one.score for one in shifts[: place + 1]]))
        if place < LEAST:
            continue
        score = scores[-1] / _spread(scores[:-1])
        up_from = place if up == 0 else up_from
        down_from = place if down == 0 else down_from
        up, down = max(up + score - SLACK, 0.0), max(down - score - SLACK, 0.0)
        if max(up, down) > LIMIT:
            since = up_from if up > down else down_from
            return _named(figure, shifts, since, place), since
    return None


def _score(values: Sequence[float]) -> float:
    """Of the last value, from all before it."""
    *before, value = values
    n = len(before)
    middle = mean(before)
    squares = math.fsum((one - middle) ** 2 for one in before) / (n - 1)
    if squares <= 0:
        return 0.0
    t = (value - middle) / math.sqrt(squares * (1 + 1 / n))
    return min(max(normal_of(t, n - 1), -MOST_SCORE), MOST_SCORE)


def normal_of(t: float, freedom: int) -> float:
    """The normal score as likely as a Student's t (Wallace 1959). Within .01 from 4 degrees of
    freedom on and scores up to 3."""
    root = math.sqrt(freedom * math.log1p(t * t / freedom))
    return math.copysign((8 * freedom + 1) / (8 * freedom + 3) * root, t)


def _spread(scores: Sequence[float]) -> float:
    """By how much more a mean of shifts varies where each keeps something of the one before."""
    squares = math.fsum(one**2 for one in scores)
    if squares <= 0:
        return 1.0
    pairs = math.fsum(a * b for a, b in pairwise(scores))
    bond = pairs / squares * len(scores) / (len(scores) + FEW)
    bond = min(max(bond, 0.0), MOST_BOND)
    return math.sqrt((1 + bond) / (1 - bond))


def _named(figure: Figure, shifts: Sequence[Shift], since: int, noticed: int) -> Drift:
    before, after = shifts[:since], shifts[since : noticed + 1]
    return Drift(
        figure, after[0].day, after[-1].day, mean(one.value for one in before),
        mean(one.value for one in after), len(before), len(after),
    )  # fmt: skip
