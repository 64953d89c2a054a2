"""Outlines cut in several torch-on paths: held by tabs, or lit anew where they left off.

An open path goes on in another where its end lies within ``MOST_GAP_MM`` of that one's first half
(its own, for an outline of one tab), in the direction of either path within ``_BEND_RAD`` unless
the gap is hardly one. Paths that go on in one another until the first is reached again are one
outline if their gaps are ``_GAP_SHARE`` of it at most and it does not cross itself. The rule is
ours; a tab that reaches round a corner is not recognised.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
import shapely

from planning.calc.program.crossings import Path, places, running_area
from planning.calc.program.types import Floats

MOST_GAP_MM: Final = 5.0
_HARDLY_MM: Final = 0.3
_BEND_RAD: Final = math.radians(35)
_GAP_SHARE: Final = 0.15
_LEAST_AREA: Final = 1e-4  # of the outline's length squared
_LEAST_MM: Final = 2.0


@dataclass(frozen=True, slots=True)
class Joined:
    """An outline of several paths: their keys in the order they follow one another, the signed area
    in mm2, and its ring as points of which the last is the first."""

    members: tuple[int, ...]
    area_mm2: float
    ring: Floats


@dataclass(frozen=True, slots=True)
class _Onward:
    """Where a path goes on: in ``path``, ``at_mm`` along it, over a gap of ``gap_mm``."""

    path: int
    at_mm: float
    gap_mm: float


def joined(paths: Mapping[int, Path]) -> list[Joined]:
    """The outlines among open paths, in order of their first member."""
    long = {key: path for key, path in paths.items() if path.length.sum() >= _LEAST_MM}
    onward = _onward(long)
    found: list[Joined] = []
    taken: set[int] = set()
    for start in sorted(onward):
        ring, at = [start], onward.get(start)
        while at is not None and at.path not in ring:
            ring.append(at.path)
            at = onward.get(at.path)
        if at is None or at.path != start or taken.intersection(ring):
            continue
        outline = _outline(long, onward, ring)
        if outline is not None:
            found.append(outline)
            taken.update(ring)
    return found


def _onward(paths: Mapping[int, Path]) -> dict[int, _Onward]:
    """The nearest place each path goes on at, if it goes on."""
    keys = list(paths)
    if not keys:
        return {}
    lines: list[Any] = [shapely.linestrings(paths[key].points) for key in keys]
    tree = shapely.STRtree(lines)
    ends = shapely.points([paths[key].points[-1] for key in keys])
    found: dict[int, _Onward] = {}
    for one, other in zip(*tree.query(ends, "dwithin", MOST_GAP_MM), strict=True):
        own, next_ = keys[int(one)], keys[int(other)]
        at = _place(paths[own], paths[next_])
        if at is None:
            continue
        best = found.get(own)
        if best is None or (at[1], (next_ - own) % (keys[-1] + 1)) < (
            best.gap_mm, (best.path - own) % (keys[-1] + 1),
        ):  # fmt: skip
            found[own] = _Onward(next_, *at)
    return found


def _place(path: Path, other: Path) -> tuple[float, float] | None:
    """(mm along ``other``, gap in mm) of the place in its first half where ``path`` goes on."""
    points = other.points
    run = np.concatenate(([0.0], np.cumsum(np.hypot(*np.diff(points, axis=0).T))))
    half = run[-1] / 2
    middle = [np.interp(half, run, points[:, axis]) for axis in (0, 1)]
    first = np.concatenate((points[run < half], [middle]))
    begin, step = first[:-1], np.diff(first, axis=0)
    end = path.points[-1]
    length2 = (step**2).sum(axis=1)
    share = np.divide(
        ((end - begin) * step).sum(axis=1), length2, out=np.zeros(len(step)), where=length2 > 0
    ).clip(0, 1)
    near = begin + step * share[:, None]
    away = np.hypot(*(near - end).T)
    at = int(away.argmin())
    gap = float(away[at])
    if gap > MOST_GAP_MM:
        return None
    if gap > _HARDLY_MM:
        out, way = _direction(path.points), near[at] - end
        bends = (_bend(out, way), _bend(way, step[at]))
        if min(bends) > _BEND_RAD:
            return None
    share_of_all = (run[at] + share[at] * math.sqrt(length2[at])) / run[-1]
    return float(share_of_all * other.length.sum()), gap


def _direction(points: Floats) -> Floats:
    step = np.diff(points, axis=0)
    some = np.flatnonzero((step**2).sum(axis=1) > 0)
    return np.asarray(step[some[-1]] if len(some) else np.zeros(2))


def _bend(one: Floats, other: Floats) -> float:
    cross = one[0] * other[1] - one[1] * other[0]
    return abs(math.atan2(cross, float(one @ other)))


def _outline(
    paths: Mapping[int, Path], onward: Mapping[int, _Onward], ring: list[int]
) -> Joined | None:
    entry = {onward[key].path: onward[key].at_mm for key in ring}
    gaps = sum(onward[key].gap_mm for key in ring)
    area, length, drawn = 0.0, gaps, []
    ends: list[tuple[Floats, Floats]] = []
    for key in ring:
        path, begin = paths[key], entry[key]
        own, total = _stretch(path, begin)
        area += own
        length += total - begin
        points = _drawn(path, begin)
        ends.append((points[0], points[-1]))
        drawn.append(points)
    for (_, last), (first, _) in zip(ends, [*ends[1:], ends[0]], strict=True):
        area += float(last[0] * first[1] - last[1] * first[0]) / 2
    if gaps > _GAP_SHARE * length or abs(area) <= _LEAST_AREA * length**2:
        return None
    points = np.concatenate([*drawn, drawn[0][:1]])
    if not shapely.is_simple(shapely.linestrings(_thinned(points))):
        return None
    return Joined(tuple(ring), area, points)


def _stretch(path: Path, begin: float) -> tuple[float, float]:
    """Green's integral about zero from ``begin`` to the end of a path, and its length."""
    total = float(path.length.sum())
    (a0, p0), (a1, p1) = places(path, running_area(path), (begin, total))
    x, y = float(path.x[0]), float(path.y[0])
    shift = x * (p1[1] - p0[1]) - y * (p1[0] - p0[0])
    return a1 - a0 + shift / 2, total


def _drawn(path: Path, begin: float) -> Floats:
    run = path.run_of_points()
    after = run > begin + 1e-9
    first = [np.interp(begin, run, path.points[:, axis]) for axis in (0, 1)]
    return np.concatenate(([first], path.points[after]))


def _thinned(points: Floats) -> Floats:
    """Without points on the one before: an end met exactly is no crossing."""
    apart = np.hypot(*np.diff(points, axis=0).T) > 1e-6
    kept = points[np.concatenate(([True], apart))]
    return np.concatenate((kept[:-1], kept[:1])) if len(kept) > 2 else kept
