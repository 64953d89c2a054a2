"""Pit depth against use: start and stop erosion plus steady erosion, and the age at which a piece's
own pit comes to its limit.

pit = a x starts + b x arc seconds, both at least 0, by least squares weighted by 1 / pit (the error
grows with the depth). a and b trade places from one fit to the next: only their sum is told. One
piece wears at a rate of its own, so its own readings scale the sum.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from scipy.optimize import nnls

from planning.calc.life.records import Floats

LEAST_READINGS = 6  # for the two rates apart; below that a pit is taken to grow by starts alone
SHALLOWEST = 0.1  # of the limit: shallower pits are read too roughly to tell a rate
# Our assumptions, each worth as much as this many readings or pieces of the shop's own: how far a
# reading lies from the next of the same piece, and the age told from the real one.
READING_SD, PIECE_SD, PRIOR_WORTH = 0.10, 0.15, 3.0
LEAST_SD = 0.04


@dataclass(frozen=True, slots=True)
class Reading:
    starts: float
    arc_s: float
    pit_mm: float


@dataclass(frozen=True, slots=True)
class Rates:
    """mm for each start and for each second of arc; `n` readings."""

    per_start: float
    per_arc_s: float
    n: int

    def depth_mm(self, starts: float, arc_s: float) -> float:
        return self.per_start * starts + self.per_arc_s * arc_s


def rates(readings: Sequence[Reading]) -> Rates | None:
    """The sum fitted to readings of a set's pieces. None: none has a depth and an age."""
    told = [one for one in readings if one.pit_mm > 0 and one.starts > 0]
    if not told:
        return None
    weight = np.array([1 / one.pit_mm for one in told])
    columns = np.array([[one.starts, one.arc_s] for one in told])
    if len(told) < LEAST_READINGS or not columns[:, 1].all():
        columns[:, 1] = 0.0
    found, _rest = nnls(columns * weight[:, None], np.ones(len(told)))
    return Rates(float(found[0]), float(found[1]), len(told))


def between(
    readings: Sequence[Reading], fitted: Rates, limit_mm: float, level: float
) -> tuple[float, float] | None:
    """Between which parts of the fitted depth that share of readings lies, as they were read. None:
    fewer than 6 are deep enough."""
    parts = [
        one.pit_mm / usual
        for one in readings
        if one.pit_mm >= SHALLOWEST * limit_mm
        and (usual := fitted.depth_mm(one.starts, one.arc_s)) > 0
    ]
    if len(parts) < LEAST_READINGS:
        return None
    low, high = np.quantile(parts, [(1 - level) / 2, (1 + level) / 2])
    return float(low), float(high)


@dataclass(frozen=True, slots=True)
class Scatter:
    """How ages told from pits lie to the real ones, in logarithms: `bias` (real over told), from
    reading to reading, and from piece to piece; `pieces` that were learned from."""

    bias: float = 0.0
    reading_sd: float = READING_SD
    piece_sd: float = PIECE_SD
    pieces: int = 0


@dataclass(frozen=True, slots=True)
class PitSays:
    """The age at which the piece is worn out by its own pit, with its spread in logarithms."""

    age: float
    sd: float
    n: int

    def agreement(self, ages: Floats) -> Floats:
        """How well each age agrees with it; the most likely has 1."""
        off = (np.log(ages) - math.log(self.age)) / self.sd
        return np.asarray(np.exp(-(off**2) / 2))


def told_ages(readings: Sequence[Reading], fitted: Rates, limit_mm: float) -> list[float]:
    """For each reading deep enough the age in starts at which the pit comes to its limit, with
    arc for each start as so far."""
    ages = []
    for one in readings:
        usual = fitted.depth_mm(one.starts, one.arc_s)
        if one.pit_mm < SHALLOWEST * limit_mm or usual <= 0 or one.starts <= 0:
            continue
        a_start = fitted.depth_mm(1.0, one.arc_s / one.starts) * one.pit_mm / usual
        ages.append(one.starts + max(0.0, limit_mm - one.pit_mm) / a_start)
    return ages


def scatter(
    told: Mapping[float, Sequence[float]] | Sequence[tuple[float, Sequence[float]]],
) -> Scatter:
    """Learned from pieces that ended by wear: (age at its end, ages told by its readings)."""
    pairs = list(told.items()) if isinstance(told, Mapping) else list(told)
    pairs = [(age, ages) for age, ages in pairs if age > 0 and ages]
    logs = [np.log(age) - np.log(np.array(ages)) for age, ages in pairs]
    within = sum(float(((own - own.mean()) ** 2).sum()) for own in logs)
    freedom = sum(len(own) - 1 for own in logs)
    reading = (within + PRIOR_WORTH * READING_SD**2) / (freedom + PRIOR_WORTH)
    bias = sum(float(own.mean()) for own in logs) / (len(logs) + PRIOR_WORTH)
    apart = sum(float((own.mean() - bias) ** 2) - reading / len(own) for own in logs)
    piece = (max(0.0, apart) + PRIOR_WORTH * PIECE_SD**2) / (len(logs) + PRIOR_WORTH)
    return Scatter(bias, math.sqrt(reading), max(LEAST_SD, math.sqrt(piece)), len(logs))


def pit_says(ages: Sequence[float], found: Scatter) -> PitSays | None:
    """What all readings of one piece say together."""
    if not ages:
        return None
    middle = float(np.mean(np.log(np.array(ages)))) + found.bias
    sd = math.sqrt(found.piece_sd**2 + found.reading_sd**2 / len(ages))
    return PitSays(math.exp(middle), sd, len(ages))
