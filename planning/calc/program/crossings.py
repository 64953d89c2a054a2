"""The part of a path that crosses or touches itself: loops at corners, an overcut that ends on no
vertex, a lead-in through a corner, a figure of eight.

Walking along the path, each contact of a place s1 with a later one s2 cuts off the loop between
them, unless either lies in a loop already cut. Its area is A(s2) - A(s1) + P(s2) x P(s1) / 2 less
the loops cut inside it, A the running integral of Green's theorem, exact on lines and arcs. The
part is the loop of largest area if it spans half of the path at least. A second loop of more than
a fifth of that makes the area unsure. The rule is ours.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Final

import numpy as np
import shapely

from planning.calc.program.types import Floats, Indices

TOUCH_MM: Final = 0.05
TOUCH_STEPS: Final = 3.0
_APART_MM: Final = 0.5
_LEAST_SHARE: Final = 0.5
_SECOND: Final = 0.2
# A path that meets itself more often is a scribble. Chords much shorter than the reach of a touch
# lie near their neighbours, a few each.
_MOST_CONTACTS: Final = 20_000
_MOST_PAIRS: Final = 100_000
_PAIRS_EACH: Final = 20
_PIECE: Final = 64


@dataclass(frozen=True, slots=True)
class Path:
    """Moves of one contour: n + 1 places ``x``, ``y`` in mm and, of n moves, centre, signed sweep
    and length. ``points`` is the path as drawn, ``steps`` how many chords of it a move has."""

    x: Floats
    y: Floats
    cx: Floats
    cy: Floats
    sweep: Floats
    length: Floats
    points: Floats
    steps: Indices

    def run(self) -> Floats:
        return np.concatenate(([0.0], np.cumsum(self.length)))

    def run_of_points(self) -> Floats:
        """Length in mm along the true path at each drawn point."""
        each = np.repeat(self.length / self.steps, self.steps)
        return np.concatenate(([0.0], np.cumsum(each)))


@dataclass(frozen=True, slots=True)
class Part:
    """The loop from ``begin_mm`` to ``end_mm`` along the path; ``area_mm2`` is signed and None
    where another loop is too large to say which is the part."""

    begin_mm: float
    end_mm: float
    area_mm2: float | None


@dataclass(slots=True)
class _Loop:
    begin: float
    end: float
    whole: float
    inside: list[_Loop] = field(default_factory=list)

    @property
    def area(self) -> float:
        return self.whole - sum(loop.whole for loop in self.inside)


def part_of(path: Path, closed: tuple[float, float] | None, step_mm: float) -> Part | None:
    """The part, None where the path neither crosses nor touches itself. ``closed`` is the stretch
    in mm along the path that vertices close, if any do: then only true crossings count."""
    if len(path.points) < 4:
        return None
    if closed is not None and shapely.is_simple(shapely.linestrings(path.points)):
        return None
    reach = None if closed is not None else max(TOUCH_MM, TOUCH_STEPS * step_mm)
    contacts = _contacts(path, reach)
    if contacts is None:  # a scribble: whichever loop is the part, nobody can say
        return None if closed is None else Part(*closed, None)
    if not contacts:
        return None
    if closed is not None:
        contacts.append(closed)
    loops = _loops(path, contacts)
    total = float(path.length.sum())
    long = [loop for loop in loops if loop.end - loop.begin >= _LEAST_SHARE * total]
    if not long:
        return None
    best = max(long, key=lambda loop: abs(loop.area))
    others = [abs(loop.area) for loop in loops if loop is not best]
    unsure = max(others, default=0.0) > _SECOND * abs(best.area)
    return Part(best.begin, best.end, None if unsure else best.area)


def _contacts(path: Path, reach: float | None) -> list[tuple[float, float]] | None:
    """(s1, s2) of true crossings and, within ``reach``, of ends of chords beside other chords; None
    where there are too many."""
    points = path.points
    near = _near(points, reach)
    if near is None:
        return None
    one, other = near
    place = path.run_of_points()
    found = _crossed(points, place, one, other)
    if reach is not None:
        for at, end in ((one, other), (other, one)):
            for shift in (0, 1):
                found += _touched(points, place, at, end + shift, reach)
    contacts = [pair for pair in found if pair[1] - pair[0] > _APART_MM]
    return contacts if len(contacts) <= _MOST_CONTACTS + len(points) else None


def _near(points: Floats, reach: float | None) -> tuple[Indices, Indices] | None:
    """Pairs of chords that meet, or lie within ``reach``, the earlier first and neighbours left
    out; None where there are too many."""
    lines = np.asarray(shapely.linestrings(np.stack((points[:-1], points[1:]), axis=1)))
    tree = shapely.STRtree(lines)
    most = _MOST_PAIRS + _PAIRS_EACH * len(lines)
    found: list[tuple[Indices, Indices]] = []
    for start in range(0, len(lines), _PIECE):
        own = lines[start : start + _PIECE]
        if reach is None:
            one, other = tree.query(own, predicate="intersects")
        else:
            one, other = tree.query(own, predicate="dwithin", distance=reach)
        one = one + start
        apart = other > one + 1
        found.append((one[apart], other[apart]))
        if sum(len(pair[0]) for pair in found) > most:
            return None
    return np.concatenate([pair[0] for pair in found]), np.concatenate([pair[1] for pair in found])


def _crossed(points: Floats, place: Floats, i: Indices, j: Indices) -> list[tuple[float, float]]:
    a, b = points[i], points[j]
    u, v, w = points[i + 1] - a, points[j + 1] - b, b - a
    turn = u[:, 0] * v[:, 1] - u[:, 1] * v[:, 0]
    with np.errstate(divide="ignore", invalid="ignore"):
        s = (w[:, 0] * v[:, 1] - w[:, 1] * v[:, 0]) / turn
        t = (w[:, 0] * u[:, 1] - w[:, 1] * u[:, 0]) / turn
    small = 1e-9
    hit = (s > small) & (s < 1 - small) & (t > small) & (t < 1 - small)
    return _pairs(place, i[hit], s[hit], j[hit], t[hit])


def _touched(
    points: Floats, place: Floats, i: Indices, vertex: Indices, reach: float
) -> list[tuple[float, float]]:
    """Places ``vertex`` beside chords ``i``."""
    a, u = points[i], points[i + 1] - points[i]
    w = points[vertex] - a
    length2 = (u * u).sum(axis=1)
    with np.errstate(divide="ignore", invalid="ignore"):
        share = np.clip((w * u).sum(axis=1) / length2, 0, 1)
    away = np.hypot(*(w - u * share[:, None]).T)
    hit = away <= reach
    first, second = place[i] + share * (place[i + 1] - place[i]), place[vertex]
    pairs = np.sort(np.column_stack((first[hit], second[hit])), axis=1)
    return [(float(a), float(b)) for a, b in pairs.tolist()]


def _pairs(
    place: Floats, i: Indices, s: Floats, j: Indices, t: Floats
) -> list[tuple[float, float]]:
    first = place[i] + s * (place[i + 1] - place[i])
    second = place[j] + t * (place[j + 1] - place[j])
    return list(zip(first.tolist(), second.tolist(), strict=True))


def _loops(path: Path, contacts: list[tuple[float, float]]) -> list[_Loop]:
    area, run = running_area(path), path.run()
    top: list[_Loop] = []
    every: list[_Loop] = []
    for begin, end in sorted(contacts, key=lambda pair: (pair[1], -pair[0])):
        if any(loop.begin < place < loop.end for loop in top for place in (begin, end)):
            continue
        if every and every[-1].end == end and every[-1].begin == begin:
            continue
        (a0, p0), (a1, p1) = places(path, area, (begin, end), run)
        loop = _Loop(begin, end, a1 - a0 + (p1[0] * p0[1] - p1[1] * p0[0]) / 2)
        loop.inside = [inner for inner in top if inner.begin >= begin]
        top = [inner for inner in top if inner.begin < begin]
        top.append(loop)
        every.append(loop)
    return every


def running_area(path: Path) -> Floats:
    """Green's integral from the path's start to each place, about that start."""
    x, y = path.x - path.x[0], path.y - path.y[0]
    radius = _radius(path)
    caps = radius**2 * (path.sweep - np.sin(path.sweep)) / 2
    return np.concatenate(([0.0], np.cumsum((x[:-1] * y[1:] - x[1:] * y[:-1]) / 2 + caps)))


def _radius(path: Path) -> Floats:
    turn = np.abs(path.sweep)
    return np.divide(path.length, turn, out=np.zeros_like(turn), where=turn > 0)


def places(
    path: Path, area: Floats, at: Sequence[float], run: Floats | None = None
) -> list[tuple[float, tuple[float, float]]]:
    """The running area, of ``running_area``, at lengths along a path, and the places there, both
    about the path's start."""
    run = path.run() if run is None else run
    return [_at(path, run, area, place) for place in at]


def _at(path: Path, run: Floats, area: Floats, place: float) -> tuple[float, tuple[float, float]]:
    """The running area at a length along the path, and the place there about the path's start."""
    k = min(max(int(np.searchsorted(run, place, side="right")) - 1, 0), len(path.length) - 1)
    share = (place - run[k]) / path.length[k] if path.length[k] > 0 else 0.0
    ox, oy = path.x[0], path.y[0]
    x0, y0 = path.x[k] - ox, path.y[k] - oy
    turn = path.sweep[k] * share
    if path.sweep[k]:
        rx, ry = path.x[k] - path.cx[k], path.y[k] - path.cy[k]
        x = path.cx[k] - ox + rx * np.cos(turn) - ry * np.sin(turn)
        y = path.cy[k] - oy + rx * np.sin(turn) + ry * np.cos(turn)
        cap = (path.length[k] / abs(path.sweep[k])) ** 2 * (turn - np.sin(turn)) / 2
    else:
        x, y = x0 + share * (path.x[k + 1] - path.x[k]), y0 + share * (path.y[k + 1] - path.y[k])
        cap = 0.0
    return float(area[k] + (x0 * y - x * y0) / 2 + cap), (float(x), float(y))
