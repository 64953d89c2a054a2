"""A table whose axes have limits of their own, and whose speed changes smoothly.

A move in the direction (ux, uy) may accelerate by min(ax / |ux|, ay / |uy|) and run at min(vx /
|ux|, vy / |uy|), the table's own limits kept. Arcs are taken in pieces of ``_PIECE_RAD``, each by
the least that any of its directions allows. Corners go by the slower axis.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from planning.calc.program.types import Floats, Indices, Moves

_PIECE_RAD: Final = math.radians(5)


@dataclass(frozen=True, slots=True)
class Axes:
    """Limits of X and Y: accelerations in mm/s2 and speeds in mm/min, infinite where none."""

    accel_x: float
    accel_y: float
    speed_x: float
    speed_y: float

    def along(self, moves: Moves) -> tuple[Floats, Floats, Floats]:
        """Of each move the acceleration along it, across it (mm/s2), and its top speed (mm/min)."""
        wide, high = _directions(moves)
        with np.errstate(divide="ignore"):
            along = np.minimum(self.accel_x / wide, self.accel_y / high)
            # The normal of a direction (x, y) is (-y, x).
            across = np.minimum(self.accel_x / high, self.accel_y / wide)
            speed = np.minimum(self.speed_x / wide, self.speed_y / high)
        return along, across, speed

    @property
    def slower(self) -> float:
        return min(self.accel_x, self.accel_y)


def in_pieces(moves: Moves) -> tuple[Moves, Indices]:
    """``moves`` with arcs in pieces that hardly turn, and how many each became."""
    counts = np.maximum(1, np.ceil(np.abs(moves.sweep_rad) / _PIECE_RAD)).astype(np.intp)
    if (counts == 1).all():
        return moves, counts
    first = np.concatenate(([0], np.cumsum(counts)[:-1]))
    nth = np.arange(int(counts.sum())) - np.repeat(first, counts) + 1
    share = nth / np.repeat(counts, counts)
    last = nth == np.repeat(counts, counts)
    fields = {
        name: np.repeat(getattr(moves, name), counts)
        for name in ("kind", "x", "y", "cx", "cy", "feed_mm_min", "torch", "tolerance_mm", "arc")
    }
    sweep = np.repeat(moves.sweep_rad, counts)
    turned = sweep * (share - 1)  # back from the arc's end
    rx, ry = fields["x"] - fields["cx"], fields["y"] - fields["cy"]
    inner = ~last
    cos, sin = np.cos(turned), np.sin(turned)
    x = np.where(inner, fields["cx"] + rx * cos - ry * sin, fields["x"])
    y = np.where(inner, fields["cy"] + rx * sin + ry * cos, fields["y"])
    many = np.repeat(counts, counts)
    return replace(
        moves, **(fields | {
            "x": x, "y": y, "sweep_rad": sweep / many,
            "length_mm": np.repeat(moves.length_mm, counts) / many,
            "exact_stop": np.repeat(moves.exact_stop, counts) & last,
            "stop_after": np.repeat(moves.stop_after, counts) & last,
            "line": np.repeat(moves.line, counts),
        }),
    ), counts  # fmt: skip


def _directions(moves: Moves) -> tuple[Floats, Floats]:
    """The largest |x| and |y| of a unit vector along each move, anywhere on it."""
    length = np.where(moves.length_mm > 0, moves.length_mm, 1.0)
    wide, high = np.abs(moves.x - moves.x0) / length, np.abs(moves.y - moves.y0) / length
    at = np.flatnonzero(moves.sweep_rad)
    if len(at):
        end = np.arctan2(moves.y[at] - moves.cy[at], moves.x[at] - moves.cx[at])
        share = np.linspace(0, 1, 5)[:, None]
        angle = end - moves.sweep_rad[at] * share
        wide[at] = np.abs(np.sin(angle)).max(axis=0)
        high[at] = np.abs(np.cos(angle)).max(axis=0)
    return wide, high


def smooth_s(length: Floats, speed: Floats, accel: Floats, jerk: float) -> Floats:
    """Seconds from rest to rest over ``length`` mm at up to ``speed`` mm/s and ``accel`` mm/s2,
    acceleration itself changing by ``jerk`` mm/s3 at most.

    With v the speed reached, speeding up takes a/j + v/a, or 2 sqrt(v/j) where a is not reached,
    over half of that times v; a way too short for v takes 4 (L / 2j)^(1/3) where a is not reached
    either. Constant jerk, the shortest such motion.
    """
    ramp = np.where(
        speed * jerk >= accel**2, accel / jerk + speed / accel, 2 * np.sqrt(speed / jerk)
    )
    level = length / speed + ramp
    lower = (np.sqrt((accel**2 / jerk) ** 2 + 4 * accel * length) - accel**2 / jerk) / 2
    steep = 2 * (accel / jerk + lower / accel)
    short = 4 * np.cbrt(length / (2 * jerk))
    below = np.where(length >= 2 * accel**3 / jerk**2, steep, short)
    return np.asarray(np.where(length >= speed * ramp, level, below))
