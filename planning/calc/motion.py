"""How long moves take on a table that must speed up and slow down.

One acceleration along the path, or one of each axis, look-ahead over the whole program. A control
may change speed smoothly (jerk) and read so many blocks a second; both are off unless given. Not
modelled: tangential and centripetal acceleration together (each may use the whole of the limit at
the same place), and jerk where two corners lie too close together for the speed between them.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final, Literal

import numpy as np

from planning.calc.axes import Axes, in_pieces, smooth_s
from planning.calc.chords import COARSEST_MM, NOISY_STEPS, Joints, raised, rounding
from planning.calc.program.types import Bools, Floats, Indices, Moves
from planning.calc.said import said
from planning.calc.units import mm_s_from_mm_min

Corner = Literal["stop", "blend"]

# Our assumption for G64 without a P and no tolerance given.
DEFAULT_TOLERANCE_MM: Final = 0.1
_SHORTEST_MM: Final = 1e-9
_PIECE: Final = 16_384
# Speeds (mm/min) and accelerations (mm/s2) beyond these are slips; within, times stay finite.
LEAST: Final = 1e-6
MOST: Final = 1e9
# What sets no limit where it is None.
FURTHER_LIMITS: Final = (
    "accel_x_mm_s2", "accel_y_mm_s2", "speed_x_mm_min", "speed_y_mm_min", "jerk_mm_s3",
    "blocks_per_s",
)  # fmt: skip
# A smaller turn is rounding of the program's own digits: straight on.
_STRAIGHT_ON_RAD: Final = 1e-5


@dataclass(frozen=True, slots=True)
class TableMotion:
    """A table's motion: acceleration in mm/s2, rapid in mm/min.

    ``corner`` overrides the program's G61/G64; ``tolerance_mm`` is how far a blended corner may
    leave the programmed path and overrides the P of G64 (None: that P, or
    ``DEFAULT_TOLERANCE_MM``). Accelerations and speeds of X and Y in the same units,
    ``jerk_mm_s3`` and ``blocks_per_s``, how many blocks the control reads in a second, are None
    where they set no limit. Raises ``ValueError`` for figures no table has.
    """

    accel_mm_s2: float
    rapid_mm_min: float
    corner: Corner | None = None
    tolerance_mm: float | None = None
    accel_x_mm_s2: float | None = None
    accel_y_mm_s2: float | None = None
    speed_x_mm_min: float | None = None
    speed_y_mm_min: float | None = None
    jerk_mm_s3: float | None = None
    blocks_per_s: float | None = None

    def __post_init__(self) -> None:
        for name in ("accel_mm_s2", "rapid_mm_min", *FURTHER_LIMITS):
            value = getattr(self, name)
            if value is not None:
                check_rate(name, value)
        tolerance = self.tolerance_mm
        if tolerance is not None and not 0 <= tolerance <= MOST:
            raise ValueError(
                said(
                    "{name} must not be below zero or above {most:g}, not {value:g}",
                    name="tolerance_mm",
                    most=MOST,
                    value=tolerance,
                )
            )

    @property
    def axes(self) -> Axes | None:
        given = (self.accel_x_mm_s2, self.accel_y_mm_s2, self.speed_x_mm_min, self.speed_y_mm_min)
        if given == (None, None, None, None):
            return None
        return Axes(*(math.inf if limit is None else limit for limit in given))


def check_rate(name: str, value: float) -> None:
    """Raises ``ValueError`` for a speed or acceleration that no table has."""
    if not LEAST <= value <= MOST:
        raise ValueError(
            said(
                "{name} must be above zero, {least:g} to {most:g}, not {value:g}",
                name=name,
                least=LEAST,
                most=MOST,
                value=value,
            )
        )


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
    axes = motion.axes
    if axes is not None and moves.sweep_rad.any():
        finer, counts = in_pieces(moves)
        times = _move_times(finer, np.repeat(speed_mm_min, counts), motion, axes)
        return np.asarray(np.bincount(np.repeat(np.arange(len(counts)), counts), weights=times))
    return _move_times(moves, speed_mm_min, motion, axes)


def _move_times(
    moves: Moves, speed_mm_min: Floats, motion: TableMotion, axes: Axes | None
) -> Floats:
    times = np.zeros(len(moves))
    some = np.flatnonzero(moves.length_mm > _SHORTEST_MM)
    if not len(some):
        return times
    path = _path(moves, some, motion)
    every = len(some) == len(moves)
    along: Floats | float = float(motion.accel_mm_s2)
    across, turning = along, float(motion.accel_mm_s2)
    asked_mm_min = speed_mm_min
    if axes is not None:
        own_along, own_across, speed = axes.along(moves)
        along = np.minimum(own_along[some], motion.accel_mm_s2)
        across = np.minimum(own_across[some], motion.accel_mm_s2)
        turning = min(turning, axes.slower)
        asked_mm_min = np.minimum(speed_mm_min, speed)
    wanted = asked_mm_min if every else asked_mm_min[some]
    top2 = np.minimum((mm_s_from_mm_min(1.0) * wanted) ** 2, _arc_limit(path, across))
    if motion.blocks_per_s is not None:
        top2 = np.minimum(top2, (path.length * motion.blocks_per_s) ** 2)
    joints = np.zeros(len(some) + 1)
    asked = np.minimum(top2[:-1], top2[1:])
    joints[1:-1] = np.minimum(asked, _corner_limit(path, asked, turning))
    joints[1:-1][path.stops[:-1]] = 0.0
    reached = _look_ahead(joints, path.length, along)
    own = _trapezoids(path.length, top2, reached, along)
    if motion.jerk_mm_s3 is not None:
        _smooth(own, path.length, top2, reached, along, motion.jerk_mm_s3)
    times[some] = own
    return times


def _smooth(
    times: Floats, length: Floats, top: Floats, joints: Floats, accel: Floats | float, jerk: float
) -> None:
    """Add to ``times`` what changing speed smoothly costs each stretch from rest to rest, half to
    its first move and half to its last: the longer time of one such motion over the stretch, up to
    the fastest speed reached in it."""
    enter, leave = joints[:-1], joints[1:]
    peak = np.minimum(top, (enter + leave) / 2 + accel * length)
    first = np.flatnonzero(enter <= 0)
    last = np.append(first[1:], len(length)) - 1
    whole = np.add.reduceat(length, first)
    speed = np.sqrt(np.maximum.reduceat(peak, first))
    slowest = np.minimum.reduceat(np.broadcast_to(accel, len(length)), first)
    level = whole >= speed**2 / slowest
    plain = np.where(level, whole / speed + speed / slowest, 2 * np.sqrt(whole / slowest))
    more = np.maximum(smooth_s(whole, speed, slowest, jerk) - plain, 0.0) / 2
    np.add.at(times, first, more)
    np.add.at(times, last, more)
    _smooth_dips(times, peak, joints, accel, jerk)


def _smooth_dips(
    times: Floats, peak: Floats, joints: Floats, accel: Floats | float, jerk: float
) -> None:
    """Add what slowing down for a corner without stopping costs. From speed v to p smooth takes
    longer than plain, at their mean instead of p: (smooth - plain) (p - v) / 2p is lost, p the
    fastest between this corner and the next. Where p cannot be reached smoothly it is a little off.
    """
    inner = joints[1:-1]
    dips = np.flatnonzero((inner > 0) & (peak[:-1] > inner) & (peak[1:] > inner))
    if not len(dips):
        return
    borders = np.unique(np.concatenate(([0], np.flatnonzero(inner <= 0) + 1, dips + 1)))
    top = np.sqrt(np.maximum.reduceat(peak, borders))
    own = np.broadcast_to(accel, len(times))
    slow = np.sqrt(inner[dips])
    at = np.searchsorted(borders, dips + 1)
    for fast, move in ((top[at - 1], dips), (top[at], dips + 1)):
        by, change = own[move], fast - slow
        smooth = np.where(
            change >= by**2 / jerk, change / by + by / jerk, 2 * np.sqrt(change / jerk)
        )
        times[move] += (smooth - change / by) * change / (2 * fast)


@dataclass(frozen=True, slots=True)
class _Path:
    """The moves that have a length, an entry each: ends and length in mm, whether the table rests
    after it, the tolerance of its corner in mm, and how it turns. ``step_mm`` is the step of the
    program's last decimal."""

    x0: Floats
    y0: Floats
    x1: Floats
    y1: Floats
    length: Floats
    sweep: Floats
    cx: Floats
    cy: Floats
    stops: Bools
    tolerance: Floats | float
    step_mm: float


def _path(moves: Moves, some: Indices, motion: TableMotion) -> _Path:
    """A stop at a move of no length is kept by the one before it."""
    every = len(some) == len(moves)

    def own(values: Floats) -> Floats:
        return values if every else values[some]

    exact = moves.exact_stop if motion.corner is None else motion.corner == "stop"
    rests = moves.stop_after | exact
    tolerance: Floats | float
    if motion.tolerance_mm is None:
        given = own(moves.tolerance_mm)
        lacking = np.isnan(given)
        tolerance = DEFAULT_TOLERANCE_MM
        if not lacking.all():
            tolerance = np.where(lacking, DEFAULT_TOLERANCE_MM, given)[:-1]
    else:
        tolerance = float(motion.tolerance_mm)
    return _Path(
        own(moves.x0), own(moves.y0), own(moves.x), own(moves.y), own(moves.length_mm),
        own(moves.sweep_rad), own(moves.cx), own(moves.cy),
        rests if every else np.logical_or.reduceat(rests, some), tolerance, moves.step_mm,
    )  # fmt: skip


def _arc_limit(path: _Path, accel: Floats | float) -> Floats | float:
    """Highest v^2 (mm2/s2) on each move under a centripetal acceleration of ``accel``."""
    if not path.sweep.any():
        return np.inf
    sweep = np.abs(path.sweep)
    none = np.full(len(sweep), np.inf)
    return np.asarray(accel * np.divide(path.length, sweep, out=none, where=sweep > 0))


def _corner_limit(path: _Path, asked: Floats, accel: float) -> Floats:
    """Highest v^2 (mm2/s2) at the joint between one move and the next, where both ask ``asked``.

    v^2 = a R with R = min(d s / (1 - s), (Lmin / 2) / tan(phi / 2)), s = cos(phi / 2): the circle
    that leaves the corner by the tolerance d and uses up half of the shorter straight run at most.
    Short chords count by what their outline turns (``planning.calc.chords``).
    """
    out_x, out_y, in_x, in_y, curve = _directions(path)
    count = len(path.length) - 1
    onward, limit, cot = np.empty(count, np.bool_), np.empty(count), np.empty(count)
    aside = np.empty(count)
    for start in range(0, count, _PIECE):
        own, after = slice(start, start + _PIECE), slice(start + 1, start + _PIECE + 1)
        last = slice(start, min(start + _PIECE, count))
        cos = out_x[last] * in_x[after] + out_y[last] * in_y[after]
        sin = np.abs(out_x[last] * in_y[after] - out_y[last] * in_x[after])
        onward[own] = (sin < _STRAIGHT_ON_RAD) & (cos > 0)
        limit[own], cot[own] = rounding(cos, sin)
        aside[own] = sin
    same_run = onward & ~path.stops[:-1]
    if curve is not None:
        same_run &= np.abs(curve[:-1] - curve[1:]) <= 1e-3 * np.abs(curve[1:])
    run = _run_lengths(path.length, same_run)
    return raised(_joints(path, same_run, run, limit, cot, aside, asked, onward, accel))


def _joints(
    path: _Path, same_run: Bools, run: Floats, limit: Floats, cot: Floats, aside: Floats,
    asked: Floats, onward: Bools, accel: float,
) -> Joints:  # fmt: skip
    """Limits of all joints by their own two lines, and which of them chords may raise. In place and
    a piece at a time, so that what is in between stays in the processor's cache."""
    count, step = len(limit), min(path.step_mm, COARSEST_MM)
    slow, near, noisy = (np.empty(count, np.bool_) for _ in range(3))
    for start in range(0, count, _PIECE):
        own = slice(start, min(start + _PIECE, count))
        given = path.tolerance
        tolerance = given if isinstance(given, float) else given[own]
        shorter = np.minimum(run[own], run[own.start + 1 : own.stop + 1])
        with np.errstate(invalid="ignore"):  # straight on and no tolerance: settled below
            limit[own] *= tolerance
        by_length = cot[own] * shorter
        by_length /= 2
        np.fmin(limit[own], by_length, out=limit[own])
        limit[own] *= accel
        limit[own][onward[own]] = np.inf
        slow[own] = limit[own] < asked[own]
        off = aside[own] * shorter
        near[own] = off <= tolerance + 2 * np.minimum(step, tolerance / 4)
        noisy[own] = off < NOISY_STEPS * step
    slow &= ~path.stops[:-1]
    noisy &= slow
    return Joints(
        x=path.x1, y=path.y1, first=(float(path.x0[0]), float(path.y0[0])), curved=path.sweep,
        through=same_run, stops=path.stops, tolerance=path.tolerance, limit=limit, slow=slow,
        near=near, noisy=noisy, accel=accel, step_mm=step,
    )  # fmt: skip


def _directions(path: _Path) -> tuple[Floats, Floats, Floats, Floats, Floats | None]:
    """Unit tangents at the end (x, y) and start (x, y) of moves, and their curvature in 1/mm;
    None where all are straight."""
    curved = path.sweep != 0
    out_x, out_y = (path.x1 - path.x0) / path.length, (path.y1 - path.y0) / path.length
    if not curved.any():
        return out_x, out_y, out_x, out_y, None
    in_x, in_y = out_x.copy(), out_y.copy()
    turn = np.sign(path.sweep[curved])
    cx, cy = path.cx[curved], path.cy[curved]
    for x, y, to_x, to_y in (
        (path.x0, path.y0, in_x, in_y),
        (path.x1, path.y1, out_x, out_y),
    ):
        rx, ry = x[curved] - cx, y[curved] - cy
        radius = np.hypot(rx, ry)
        to_x[curved], to_y[curved] = -turn * ry / radius, turn * rx / radius
    return out_x, out_y, in_x, in_y, path.sweep / path.length


def _run_lengths(length: Floats, onward: Bools) -> Floats:
    """For each move the length of the whole run it is part of, so that splitting a line into
    pieces changes nothing at its ends."""
    first = np.concatenate(([0], np.flatnonzero(~onward) + 1))
    moves = np.diff(first, append=len(length))
    return np.asarray(np.repeat(np.add.reduceat(length, first), moves), dtype=np.float64)


def _look_ahead(joints: Floats, length: Floats, accel: Floats | float) -> Floats:
    """Lower v^2 at joints to what acceleration can reach forwards and backwards.

    ``reach`` is v^2 gained from the start without a break, so that what can be reached from a joint
    is a running minimum of v^2 less ``reach``. In place: fresh arrays of this size cost more than
    the arithmetic.
    """
    reach = np.empty(len(joints))
    reach[0] = 0.0
    if isinstance(accel, float):
        np.cumsum(length, out=reach[1:])
        reach *= 2 * accel
    else:
        np.cumsum(length * accel, out=reach[1:])
        reach *= 2
    lowered = joints - reach
    np.minimum.accumulate(lowered, out=lowered)
    lowered += reach
    np.minimum(lowered, joints, out=lowered)
    backward = lowered + reach
    np.minimum.accumulate(backward[::-1], out=backward[::-1])
    backward -= reach
    np.minimum(lowered, backward, out=lowered)
    return np.maximum(lowered, 0.0, out=lowered)


def _trapezoids(length: Floats, top: Floats, joints: Floats, accel: Floats | float) -> Floats:
    """Seconds of moves with v^2 ``top`` at most and ``joints`` at their ends; a piece at a time,
    so that what is in between stays in the processor's cache."""
    times = np.empty(len(length))
    for start in range(0, len(length), _PIECE):
        own = slice(start, start + _PIECE)
        ends = joints[start : start + _PIECE + 1]
        rate = accel if isinstance(accel, float) else accel[own]
        times[own] = _trapezoids_of(length[own], top[own], ends, rate)
    return times


def _trapezoids_of(length: Floats, top: Floats, joints: Floats, accel: Floats | float) -> Floats:
    """v^2 peaks at p = min(top, (u0 + u1)/2 + a L); speeding up and slowing down take
    (2 sqrt p - sqrt u0 - sqrt u1)/a over (2 p - u0 - u1)/(2 a), the rest is at the peak's speed."""
    enter, leave = joints[:-1], joints[1:]
    ends = enter + leave
    peak = np.minimum(top, ends / 2 + accel * length)
    np.maximum(peak, np.maximum(enter, leave), out=peak)
    speed, root = np.sqrt(peak), np.sqrt(joints)
    changing_s = (2 * speed - root[:-1] - root[1:]) / accel
    changing_mm = (2 * peak - ends) / (2 * accel)
    level_mm = np.maximum(length - changing_mm, 0.0)
    return np.asarray(changing_s + level_mm / speed)
