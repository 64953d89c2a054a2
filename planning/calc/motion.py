"""How long moves take on a table that must speed up and slow down.

One acceleration along the path, look-ahead over the whole program. Not modelled: jerk, an axis of
its own acceleration or top speed, tangential and centripetal acceleration together (each may use
the whole of the limit at the same place), the height control, and the controller's block rate.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final, Literal

import numpy as np

from planning.calc.program.types import Bools, Floats, Indices, Moves
from planning.calc.units import mm_s_from_mm_min

Corner = Literal["stop", "blend"]

# Our assumption for G64 without a P and no tolerance given.
DEFAULT_TOLERANCE_MM: Final = 0.1
_SHORTEST_MM: Final = 1e-9
# Speeds (mm/min) and accelerations (mm/s2) beyond these are slips; within, times stay finite.
LEAST: Final = 1e-6
MOST: Final = 1e9
# A smaller turn is rounding of the program's own digits: straight on.
_STRAIGHT_ON_RAD: Final = 1e-5


@dataclass(frozen=True, slots=True)
class TableMotion:
    """A table's motion: acceleration in mm/s2, rapid in mm/min.

    ``corner`` overrides the program's G61/G64; ``tolerance_mm`` is how far a blended corner may
    leave the programmed path and overrides the P of G64 (None: that P, or
    ``DEFAULT_TOLERANCE_MM``). Raises ``ValueError`` for figures no table has.
    """

    accel_mm_s2: float
    rapid_mm_min: float
    corner: Corner | None = None
    tolerance_mm: float | None = None

    def __post_init__(self) -> None:
        for name in ("accel_mm_s2", "rapid_mm_min"):
            value = getattr(self, name)
            check_rate(name, value)
        tolerance = self.tolerance_mm
        if tolerance is not None and not 0 <= tolerance <= MOST:
            raise ValueError(
                f"tolerance_mm must not be below zero or above {MOST:g}, not {tolerance:g}"
            )


def check_rate(name: str, value: float) -> None:
    """Raises ``ValueError`` for a speed or acceleration that no table has."""
    if not LEAST <= value <= MOST:
        raise ValueError(f"{name} must be above zero, {LEAST:g} to {MOST:g}, not {value:g}")


def trapezoid_s(length_mm: float, speed_mm_s: float, accel_mm_s2: float) -> float:
    """Seconds from rest to rest over ``length_mm``.

    L/v + v/a where the speed is reached (L >= v^2/a), else 2 sqrt(L/a). Constant acceleration.
    """
    if length_mm >= speed_mm_s**2 / accel_mm_s2:
        return length_mm / speed_mm_s + speed_mm_s / accel_mm_s2
    return 2 * math.sqrt(length_mm / accel_mm_s2)


def move_times(moves: Moves, speed_mm_min: Floats, motion: TableMotion) -> Floats:
    """Seconds each move takes, as an array; 0 for a move of no length.

    ``speed_mm_min`` is the speed asked of each move. The square of the speed at every joint is
    bounded by both moves' speeds (arcs: also v <= sqrt(a R)), by the corner, and by what can be
    reached from the joint before and left before the one after; then each move is a trapezoid
    between its end speeds. Corners stop (G61) or are rounded within the tolerance (G64).
    """
    times = np.zeros(len(moves))
    some = np.flatnonzero(moves.length_mm > _SHORTEST_MM)
    if not len(some):
        return times
    length, accel = moves.length_mm[some], motion.accel_mm_s2
    top = np.minimum(mm_s_from_mm_min(1.0) * speed_mm_min[some], _arc_speed(moves, accel)[some])
    joints = np.zeros(len(some) + 1)
    joints[1:-1] = np.minimum(top[:-1], top[1:]) ** 2
    joints[1:-1] = np.minimum(joints[1:-1], _corner_limit(moves, some, motion))
    joints[1:-1][_stops(moves, some, motion)[:-1]] = 0.0
    times[some] = _trapezoids(length, top**2, _look_ahead(joints, length, accel), accel)
    return times


def _arc_speed(moves: Moves, accel: float) -> Floats:
    """Highest mm/s on each move under a centripetal acceleration of ``accel``."""
    sweep = np.abs(moves.sweep_rad)
    radius = np.divide(moves.length_mm, sweep, out=np.full(len(moves), np.inf), where=sweep > 0)
    return np.asarray(np.sqrt(accel * radius))


def _stops(moves: Moves, some: Indices, motion: TableMotion) -> Bools:
    """Whether the table rests after each move of ``some``, a stop at a move of no length kept."""
    exact = moves.exact_stop if motion.corner is None else motion.corner == "stop"
    rests = (moves.stop_after | exact).astype(np.int64)
    return np.add.reduceat(rests, some) > 0


def _corner_limit(moves: Moves, some: Indices, motion: TableMotion) -> Floats:
    """Highest v^2 (mm2/s2) at the joint between one move of ``some`` and the next.

    v^2 = a R with R = min(d s / (1 - s), (Lmin / 2) / tan(phi / 2)), s = cos(phi / 2): the circle
    that leaves the corner by the tolerance d and uses up half of the shorter straight run at most.
    """
    out_x, out_y, in_x, in_y, curve = _directions(moves, some)
    cos = out_x[:-1] * in_x[1:] + out_y[:-1] * in_y[1:]
    sin = out_x[:-1] * in_y[1:] - out_y[:-1] * in_x[1:]
    half = np.abs(np.arctan2(sin, cos)) / 2
    onward = 2 * half < _STRAIGHT_ON_RAD
    same_run = onward & np.isclose(curve[:-1], curve[1:], rtol=1e-3, atol=0)
    same_run &= ~_stops(moves, some, motion)[:-1]
    run = _run_lengths(moves.length_mm[some], same_run)
    shortest = np.minimum(run[:-1], run[1:])
    with np.errstate(divide="ignore", invalid="ignore"):
        s = np.cos(half)
        by_tolerance = _tolerance(moves, some, motion)[:-1] * s / (2 * np.sin(half / 2) ** 2)
        by_length = shortest / 2 / np.tan(half)
    limit = motion.accel_mm_s2 * np.minimum(by_tolerance, by_length)
    return np.asarray(np.where(onward, np.inf, np.maximum(limit, 0.0)))


def _tolerance(moves: Moves, some: Indices, motion: TableMotion) -> Floats:
    if motion.tolerance_mm is not None:
        return np.full(len(some), motion.tolerance_mm)
    given = moves.tolerance_mm[some]
    return np.where(np.isnan(given), DEFAULT_TOLERANCE_MM, given)


def _directions(moves: Moves, some: Indices) -> tuple[Floats, Floats, Floats, Floats, Floats]:
    """Unit tangents at the end (x, y) and start (x, y) of moves, and their curvature in 1/mm."""
    x0 = np.where(some > 0, moves.x[some - 1], 0.0)
    y0 = np.where(some > 0, moves.y[some - 1], 0.0)
    x1, y1, sweep = moves.x[some], moves.y[some], moves.sweep_rad[some]
    curved = sweep != 0
    straight = np.where(curved, 1.0, np.hypot(x1 - x0, y1 - y0))
    out_x, out_y = (x1 - x0) / straight, (y1 - y0) / straight
    in_x, in_y = out_x.copy(), out_y.copy()
    turn = np.sign(sweep[curved])
    cx, cy = moves.cx[some][curved], moves.cy[some][curved]
    for x, y, to_x, to_y in ((x0, y0, in_x, in_y), (x1, y1, out_x, out_y)):
        rx, ry = x[curved] - cx, y[curved] - cy
        radius = np.hypot(rx, ry)
        to_x[curved], to_y[curved] = -turn * ry / radius, turn * rx / radius
    return out_x, out_y, in_x, in_y, sweep / moves.length_mm[some]


def _run_lengths(length: Floats, onward: Bools) -> Floats:
    """For each move the length of the whole run it is part of, so that splitting a line into
    pieces changes nothing at its ends."""
    run = np.concatenate(([0], np.cumsum(~onward)))
    return np.asarray(np.bincount(run, weights=length)[run], dtype=np.float64)


def _look_ahead(joints: Floats, length: Floats, accel: float) -> Floats:
    """Lower v^2 at joints to what acceleration can reach forwards and backwards."""
    reach = np.concatenate(([0.0], np.cumsum(2 * accel * length)))
    forward = np.minimum.accumulate(joints - reach) + reach
    lowered = np.minimum(joints, forward)
    backward = np.minimum.accumulate((lowered + reach)[::-1])[::-1] - reach
    return np.asarray(np.maximum(np.minimum(lowered, backward), 0.0))


def _trapezoids(length: Floats, top: Floats, joints: Floats, accel: float) -> Floats:
    """Seconds of moves with v^2 ``top`` at most and ``joints`` at their ends."""
    enter, leave = joints[:-1], joints[1:]
    peak = np.minimum(top, (enter + leave) / 2 + accel * length)
    peak = np.maximum(peak, np.maximum(enter, leave))
    speed = np.sqrt(peak)
    changing = (2 * speed - np.sqrt(enter) - np.sqrt(leave)) / accel
    level = np.maximum(length - (2 * peak - enter - leave) / (2 * accel), 0.0)
    return np.asarray(changing + level / speed)
