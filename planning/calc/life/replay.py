"""What following the advice would have saved, over a shop's own past.

Each piece that came out is taken at the moment it was fitted: the age to change it at is found from
nothing but what had happened by then. Where the piece came out later than that, it is changed then
and its other starts are burnt by pieces like it, at what a start costs under the advice:

saved = cost as it was - (cost under advice / starts under advice) x starts as they were

A piece that was advised nothing is the same both ways. One that came out for another reason
(crashed, lost, changed with its partner) cost what of it was used.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from scipy.stats import t as student

from planning.calc.life.costs import LEVEL

LEAST = 5  # pieces that were advised; a score of fewer says nothing


@dataclass(frozen=True, slots=True)
class Out:
    """A piece that came out: when it was fitted, after how many starts it came out, and what that
    cost."""

    piece: int
    from_us: int
    starts: float
    cost: float


@dataclass(frozen=True, slots=True)
class Advised:
    """`age` as it was known then (None: run to the end), and what a planned change has cost."""

    age: float | None
    ahead: float


@dataclass(frozen=True, slots=True)
class Score:
    """`n` pieces were advised on, `sooner` of them to come out before they did. `saved`: minor
    units, below 0 where the advice would have cost; `low` to `high` hold 90 %."""

    n: int
    sooner: int
    saved: float
    low: float
    high: float
    from_us: int
    starts: float


def replay(outs: Sequence[Out], advice: Callable[[Out], Advised | None]) -> Score | None:
    """`advice` None: nothing could be said yet, and the piece is no part of the score. None: too
    few pieces to say anything."""
    rows: list[tuple[float, float, float, float]] = []
    sooner, first = 0, None
    for out in sorted(outs, key=lambda one: one.from_us):
        told = advice(out)
        if told is None or out.starts <= 0:
            continue
        first = out.from_us if first is None else first
        if told.age is not None and told.age < out.starts:
            sooner += 1
            rows.append((out.cost, out.starts, told.ahead, told.age))
        else:
            rows.append((out.cost, out.starts, out.cost, out.starts))
    if len(rows) < LEAST or first is None:
        return None
    saved = _saved(rows)
    reach = _reach(rows)
    starts = sum(row[1] for row in rows)
    return Score(len(rows), sooner, saved, saved - reach, saved + reach, first, starts)


def _saved(rows: Sequence[tuple[float, float, float, float]]) -> float:
    cost, starts, under_cost, under_starts = (sum(column) for column in zip(*rows, strict=True))
    return float(cost - under_cost / under_starts * starts)


def _reach(rows: Sequence[tuple[float, float, float, float]]) -> float:
    """Half of the 90 % range: how far pieces differ from what their starts should have cost, each
    way (delta method of a ratio)."""
    n = len(rows)
    _cost, starts, under_cost, under_starts = (sum(column) for column in zip(*rows, strict=True))
    rate, times = under_cost / under_starts, starts / under_starts
    each = [
        cost - rate * own - times * (under - rate * under_own)
        for cost, own, under, under_own in rows
    ]
    middle = sum(each) / n
    sd = math.sqrt(sum((one - middle) ** 2 for one in each) / (n - 1))
    return float(student.ppf((1 + LEVEL) / 2, n - 1)) * sd * math.sqrt(n)
