"""Individuals and moving ranges: whether single measurements are within their usual limits."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from statistics import fmean
from typing import Final

from planning.calc.said import said

D2: Final = 1.128  # mean range of two over their spread, NIST/SEMATECH e-Handbook 6.3.2.2
D4: Final = 3.267  # 1 + 3 d3 / d2 for two, same source
NEEDED: Final = 8  # our assumption: fewer points say too little of what is usual
ONE_SIDE: Final = 8  # points in a row on one side of the centre (e-Handbook 6.3.2)


@dataclass(frozen=True, slots=True)
class Control:
    """An individuals chart of `values`, in their own unit and order. `moving` has one range fewer.
    `beyond` are places in `values` outside the limits, `one_side` those at or past the eighth in a
    row on one side of the centre, `jumps` places in `moving` above `range_upper`."""

    values: tuple[float, ...]
    centre: float
    lower: float
    upper: float
    moving: tuple[float, ...]
    range_mean: float
    range_upper: float
    beyond: tuple[int, ...]
    one_side: tuple[int, ...]
    jumps: tuple[int, ...]

    @property
    def in_control(self) -> bool:
        return not (self.beyond or self.one_side or self.jumps)


def individuals(values: Sequence[float]) -> Control | None:
    """Limits of single values: mean +- 3 x mean moving range / 1.128; of the moving ranges: 3.267
    x their mean (NIST/SEMATECH e-Handbook 6.3.2.2). None below `NEEDED` values.

    Holds where values are independent and about normal: u cannot be below zero, so a lower limit
    below zero means nothing. Raises ValueError for a value that is no number.
    """
    if not all(math.isfinite(value) for value in values):
        raise ValueError(said("a value is not a number"))
    if len(values) < NEEDED:
        return None
    moving = tuple(abs(after - before) for before, after in pairwise(values))
    centre, mean = fmean(values), fmean(moving)
    reach = 3 * mean / D2
    lower, upper, most = centre - reach, centre + reach, D4 * mean
    return Control(
        values=tuple(values),
        centre=centre,
        lower=lower,
        upper=upper,
        moving=moving,
        range_mean=mean,
        range_upper=most,
        beyond=tuple(i for i, value in enumerate(values) if not lower <= value <= upper),
        one_side=_one_side(values, centre),
        jumps=tuple(i for i, value in enumerate(moving) if value > most),
    )


def _one_side(values: Sequence[float], centre: float) -> tuple[int, ...]:
    found, side, run = [], 0, 0
    for place, value in enumerate(values):
        now = (value > centre) - (value < centre)
        run = run + 1 if now and now == side else abs(now)
        side = now
        if run >= ONE_SIDE:
            found.append(place)
    return tuple(found)
