"""Plane curves of three kinds, which every DXF curve comes down to under any affine map.

Units: mm. Every curve has exact ends, length, the area swept from a point, and a smallest box.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property
from itertools import pairwise

import numpy as np

from planning.calc.drawing.quadrature import Floats, integral

Point = tuple[float, float]
Box = tuple[float, float, float, float]
MOST_CHORDS = 1024
CHORD_MM = 0.01  # by which chords leave a curve, where it is drawn or looked through
ROUND = 1e-10
SHARES = (0.25, 0.5, 0.75)  # where two curves are held against each other


@dataclass(frozen=True)
class Line:
    start: Point
    end: Point

    @property
    def length_mm(self) -> float:
        return math.dist(self.start, self.end)

    def swept_mm2(self, origin: Point) -> float:
        """Half the integral of x dy - y dx about ``origin`` (Green's theorem): around a closed
        contour these sum to its signed area, positive counter-clockwise."""
        (ax, ay), (bx, by), (ox, oy) = self.start, self.end, origin
        return ((ax - ox) * (by - oy) - (bx - ox) * (ay - oy)) / 2

    @property
    def box(self) -> Box:
        (ax, ay), (bx, by) = self.start, self.end
        return min(ax, bx), min(ay, by), max(ax, bx), max(ay, by)

    def at(self, share: float) -> Point:
        (ax, ay), (bx, by) = self.start, self.end
        return ax + (bx - ax) * share, ay + (by - ay) * share

    def reversed(self) -> Line:
        return Line(self.end, self.start)

    def chords(self, within_mm: float) -> Floats:
        """(n, 2) points from start to end whose chords leave the curve by ``within_mm`` at most
        (but no more than ``MOST_CHORDS`` of them)."""
        return np.array((self.start, self.end))


@dataclass(frozen=True)
class Arc:
    """c + u cos t + v sin t for t from ``t0`` to ``t1`` (rad): a circle's arc where u and v are
    as long and square to each other, else an ellipse's, of which they are conjugate radii."""

    centre: Point
    u: Point
    v: Point
    t0: float
    t1: float

    @property
    def sweep(self) -> float:
        return self.t1 - self.t0

    @cached_property
    def round(self) -> bool:
        (ux, uy), (vx, vy) = self.u, self.v
        uu, vv = ux * ux + uy * uy, vx * vx + vy * vy
        least = ROUND * max(uu, vv)
        return abs(uu - vv) <= least and abs(ux * vx + uy * vy) <= least

    @cached_property
    def start(self) -> Point:
        return self._at(self.t0)

    @cached_property
    def end(self) -> Point:
        return self._at(self.t1)

    @cached_property
    def length_mm(self) -> float:
        """Radius times angle for a circle; for an ellipse the integral of its speed, to 1e-12."""
        if self.round:
            return math.hypot(*self.u) * abs(self.sweep)
        (ux, uy), (vx, vy) = self.u, self.v

        def speed(t: Floats) -> Floats:
            sin, cos = np.sin(t), np.cos(t)
            return np.hypot(vx * cos - ux * sin, vy * cos - uy * sin)

        # The speed turns at the axes (and has a corner there where one is nothing): between them
        # it only rises or only falls.
        axis = math.atan2(2 * (ux * vx + uy * vy), ux * ux + uy * uy - vx * vx - vy * vy) / 2
        low, high = sorted((self.t0, self.t1))
        quarter = math.pi / 2
        first = math.floor((low - axis) / quarter) + 1
        turns = [axis + k * quarter for k in range(first, first + 5)]
        cuts = [low, *(turn for turn in turns if turn < high), high]
        return math.fsum(integral(speed, a, b) for a, b in pairwise(cuts))

    def swept_mm2(self, origin: Point) -> float:
        """As for a line; the sector's part is (u x v) times half the angle, ellipses too."""
        (ux, uy), (vx, vy), (cx, cy) = self.u, self.v, self.centre
        (ax, ay), (bx, by) = self.start, self.end
        moved = (cx - origin[0]) * (by - ay) - (cy - origin[1]) * (bx - ax)
        return (moved + (ux * vy - uy * vx) * self.sweep) / 2

    @property
    def box(self) -> Box:
        xs, ys = zip(self.start, self.end, *self._turns(), strict=True)
        return min(xs), min(ys), max(xs), max(ys)

    def _turns(self) -> list[Point]:
        """Where the arc runs straight up or across: the ends of its box, so far as it passes."""
        found = []
        low, high = min(self.t0, self.t1), max(self.t0, self.t1)
        for axis in (0, 1):
            base = math.atan2(self.v[axis], self.u[axis])
            first = math.ceil((low - base) / math.pi)
            found += [self._at(base + k * math.pi) for k in range(first, first + 3)
                      if base + k * math.pi <= high]  # fmt: skip
        return found

    def _at(self, t: float) -> Point:
        cos, sin = math.cos(t), math.sin(t)
        return (
            self.centre[0] + self.u[0] * cos + self.v[0] * sin,
            self.centre[1] + self.u[1] * cos + self.v[1] * sin,
        )

    def at(self, share: float) -> Point:
        return self._at(self.t0 + self.sweep * share)

    def reversed(self) -> Arc:
        return Arc(self.centre, self.u, self.v, self.t1, self.t0)

    def chords(self, within_mm: float) -> Floats:
        radius = max(math.hypot(*self.u), math.hypot(*self.v), 1e-12)
        if not self.round:  # conjugate radii: the true longer one is no longer than this
            radius = math.hypot(math.hypot(*self.u), math.hypot(*self.v))
        step = 2 * math.acos(1 - min(within_mm / radius, 0.5))
        n = min(max(2, math.ceil(abs(self.sweep) / step)), MOST_CHORDS)
        t = self.t0 + self.sweep * np.arange(n + 1) / n
        found: Floats = (
            np.array(self.centre)
            + np.outer(np.cos(t), np.array(self.u))
            + np.outer(np.sin(t), np.array(self.v))
        )
        found[0], found[-1] = self.start, self.end
        return found


@dataclass(frozen=True, eq=False)
class Bezier:
    """A rational Bezier curve; ``points`` is (degree + 1, 3): x w, y w, w."""

    points: Floats

    @cached_property
    def start(self) -> Point:
        x, y, w = self.points[0]
        return float(x / w), float(y / w)

    @cached_property
    def end(self) -> Point:
        x, y, w = self.points[-1]
        return float(x / w), float(y / w)

    @cached_property
    def _powers(self) -> tuple[np.polynomial.Polynomial, ...]:
        """(x - x0) w, (y - y0) w and w as polynomials of t from 0 to 1: from the start, since far
        from the origin the digits of a small curve would be lost in its place."""
        degree = len(self.points) - 1
        rise = np.zeros((degree + 1, degree + 1))  # of Bernstein polynomials in powers of t
        for k in range(degree + 1):
            for j in range(degree - k + 1):
                rise[k, k + j] = math.comb(degree, k) * math.comb(degree - k, j) * (-1) ** j
        local = self.points - np.outer(self.points[:, 2], (*self.start, 0.0))
        return tuple(np.polynomial.Polynomial(column @ rise) for column in local.T)

    @cached_property
    def _slopes(self) -> tuple[np.polynomial.Polynomial, ...]:
        """w2 dx/dt and w2 dy/dt, without the terms that only rounding left."""
        x, y, w = self._powers
        found = (x.deriv() * w - x * w.deriv(), y.deriv() * w - y * w.deriv())
        scale = max(float(np.abs(each.coef).max()) for each in found)
        return tuple(each.trim(1e-13 * scale) for each in found)

    @cached_property
    def _turns(self) -> tuple[tuple[float, float], ...]:
        """Where dx or dy is nothing or nearly so: (t within 0 and 1, how nearly)."""
        found: list[tuple[float, float]] = []
        for slope in self._slopes:
            if slope.degree() >= 1:
                roots = np.asarray(slope.roots(), dtype=np.complex128)
                near = zip(roots.real.tolist(), np.abs(roots.imag).tolist(), strict=True)
                found += [(t, off) for t, off in near if 0 < t < 1]
        return tuple(sorted(found))

    @cached_property
    def length_mm(self) -> float:
        """The integral of the speed, to 1e-12, from turn to turn: a cusp lies at one."""
        dx, dy = self._slopes
        w = self._powers[2]
        cuts = [0.0, *(t for t, off in self._turns if off < 0.1), 1.0]
        return math.fsum(
            integral(lambda t: np.hypot(dx(t), dy(t)) / w(t) ** 2, low, high)
            for low, high in pairwise(cuts)
        )

    def swept_mm2(self, origin: Point) -> float:
        """As for a line; the integrand is a polynomial over w2, exact where w is one."""
        x, y, w = self._powers
        dx, dy = self._slopes

        def sweep(t: Floats) -> Floats:
            weight = w(t)
            px = x(t) / weight + (self.start[0] - origin[0])
            py = y(t) / weight + (self.start[1] - origin[1])
            turned: Floats = (px * dy(t) - py * dx(t)) / weight**2
            return turned

        return integral(sweep, 0.0, 1.0) / 2

    @cached_property
    def box(self) -> Box:
        # A turn that is only nearly one is a point of the curve all the same.
        found = [self.start, self.end, *(self.at(t) for t, off in self._turns if off < 1e-3)]
        xs, ys = zip(*found, strict=True)
        return min(xs), min(ys), max(xs), max(ys)

    def at(self, share: float) -> Point:
        known: dict[float, Point] | None = self.__dict__.get("known_at")
        if known is not None and share in known:
            return known[share]
        x, y, w = self._powers
        weight = float(w(share))
        return (
            self.start[0] + float(x(share)) / weight,
            self.start[1] + float(y(share)) / weight,
        )

    def reversed(self) -> Bezier:
        return Bezier(self.points[::-1].copy())

    def chords(self, within_mm: float) -> Floats:
        known: tuple[float, Floats] | None = self.__dict__.get("drawn")
        if known is not None and known[0] == within_mm:
            return known[1]
        degree, weights = len(self.points) - 1, self.points[:, 2]
        plane = self.points[:, :2] / self.points[:, 2:]
        if degree < 2:
            return np.array((self.start, self.end))
        bend = float(np.hypot(*np.diff(plane, 2, axis=0).T).max()) * degree * (degree - 1)
        bend *= (float(weights.max()) / float(weights.min())) ** 2
        n = min(max(4, math.ceil(math.sqrt(bend / (8 * within_mm)))), MOST_CHORDS)
        x, y, w = self._powers
        t = np.arange(n + 1) / n
        found: Floats = np.column_stack((x(t), y(t))) / w(t)[:, None] + np.array(self.start)
        found[0], found[-1] = self.start, self.end
        return found


Curve = Line | Arc | Bezier


def bulge(start: Point, end: Point, value: float) -> Curve:
    """The arc of a polyline's segment: ``value`` is tan(angle / 4), positive counter-clockwise
    (DXF reference, group code 42). Zero, or a segment without length, is a line."""
    chord = math.dist(start, end)
    if value == 0 or chord == 0:
        return Line(start, end)
    (ax, ay), (bx, by) = start, end
    # From the chord's middle the centre lies (1 - b2) / 4b chords to the left.
    off = (1 - value * value) / (4 * value)
    cx, cy = (ax + bx) / 2 - (by - ay) * off, (ay + by) / 2 + (bx - ax) * off
    u = (ax - cx, ay - cy)
    return Arc((cx, cy), u, (-u[1], u[0]), 0.0, 4 * math.atan(value))
