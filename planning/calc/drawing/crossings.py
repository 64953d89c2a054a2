"""Where contours cross or touch themselves or each other, found on their chords."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from planning.calc.drawing.curves import Point
from planning.calc.drawing.quadrature import Floats

Indices = npt.NDArray[np.intp]
TOUCH_MM = 1e-6
MOST_PAIRS = 40_000_000
SMALL = 4096


@dataclass(frozen=True, slots=True)
class Crossing:
    """Paths ``one`` and ``other`` (by index; the same for a path that meets itself) at a point in
    mm; ``through`` is False where they only touch or run along each other."""

    one: int
    other: int
    at: Point
    through: bool


class _TooMuch(Exception):
    """More to look at than seconds allow."""


def crossings(paths: Sequence[Floats], simple: Sequence[bool]) -> list[Crossing] | None:
    """The first meeting of each two paths of (n, 2) points, and of each with itself; a path is
    closed where its last point is its first, and ``simple`` where it cannot meet itself. None where
    there is more to look at than ``MOST_PAIRS``. Chords lie within their tolerance of the true
    curve, so contours nearer than that may be told wrongly."""
    found: list[Crossing] = []
    work = _Budget()
    try:
        for i, path in enumerate(paths):
            if not simple[i] and (hit := _self_meeting(path, work)):
                found.append(Crossing(i, i, *hit))
        for i, j in _overlapping(paths, work):
            if hit := _meeting(paths[i], paths[j], work):
                found.append(Crossing(i, j, *hit))
    except _TooMuch:
        return None
    return sorted(found, key=lambda each: (each.one, each.other))


class _Budget:
    def __init__(self) -> None:
        self.left = MOST_PAIRS

    def take(self, count: int) -> None:
        self.left -= count
        if self.left < 0:
            raise _TooMuch


Hit = tuple[Point, bool]


def _self_meeting(path: Floats, work: _Budget) -> Hit | None:
    starts, ends = path[:-1], path[1:]
    count = len(starts)
    if count < 3 or _convex(path):
        return None
    near = _neighbours(starts, ends, work)
    ring = bool((path[0] == path[-1]).all())
    apart = near[1] - near[0]
    beside = (apart == 1) | (ring & (apart == count - 1))
    one, other = near[0][~beside], near[1][~beside]
    return _first(starts[one], ends[one], starts[other], ends[other])


def _convex(path: Floats) -> bool:
    """Whether a ring turns one way only and once around: then it cannot meet itself."""
    if not (path[0] == path[-1]).all():
        return False
    way = np.diff(path, axis=0)
    after = np.roll(way, -1, axis=0)
    turn = way[:, 0] * after[:, 1] - way[:, 1] * after[:, 0]
    if not ((turn >= 0).all() or (turn <= 0).all()):
        return False
    angles = np.arctan2(turn, (way * after).sum(axis=1))
    return bool(abs(abs(angles.sum()) - 2 * np.pi) < 1e-6)


def _overlapping(paths: Sequence[Floats], work: _Budget) -> Iterator[tuple[int, int]]:
    """Paths whose boxes meet, by a sweep along X."""
    boxes = np.array([(*path.min(axis=0), *path.max(axis=0)) for path in paths]).reshape(-1, 4)
    order = np.argsort(boxes[:, 0], kind="stable")
    boxes = boxes[order]
    reach = np.searchsorted(boxes[:, 0], boxes[:, 2] + TOUCH_MM, side="right")
    for k in range(len(paths)):
        rest = boxes[k + 1 : reach[k]]
        work.take(len(rest) // 16)
        hits = (rest[:, 1] <= boxes[k, 3] + TOUCH_MM) & (rest[:, 3] >= boxes[k, 1] - TOUCH_MM)
        for other in (np.flatnonzero(hits) + k + 1).tolist():
            i, j = int(order[k]), int(order[other])
            yield min(i, j), max(i, j)


def _meeting(one: Floats, other: Floats, work: _Budget) -> Hit | None:
    """Only chords that reach into both boxes can meet."""
    low = np.maximum(one.min(axis=0), other.min(axis=0)) - TOUCH_MM
    high = np.minimum(one.max(axis=0), other.max(axis=0)) + TOUCH_MM
    first, second = _reaching(one, low, high), _reaching(other, low, high)
    work.take((len(one) + len(other)) // 16)
    if not len(first) or not len(second):
        return None
    count = len(first)
    if count * len(second) <= SMALL:
        i = np.repeat(first, len(second))
        j = np.tile(second, count)
        work.take(len(i))
    else:
        starts = np.concatenate((one[first], other[second]))
        ends = np.concatenate((one[first + 1], other[second + 1]))
        near = _neighbours(starts, ends, work)
        across = (near[0] < count) & (near[1] >= count)
        i, j = first[near[0][across]], second[near[1][across] - count]
    return _first(one[i], one[i + 1], other[j], other[j + 1])


def _reaching(path: Floats, low: Floats, high: Floats) -> Indices:
    lows, highs = np.minimum(path[:-1], path[1:]), np.maximum(path[:-1], path[1:])
    return np.flatnonzero(((lows <= high) & (highs >= low)).all(axis=1))


def _neighbours(starts: Floats, ends: Floats, work: _Budget) -> tuple[Indices, Indices]:
    """Indices of all two segments that share a cell of a grid, each pair once and the lower first.
    Long segments are laid into the grid in pieces of a cell at most."""
    count = len(starts)
    if count * count <= SMALL:
        work.take(count * count // 2)
        return np.triu_indices(count, 1)
    spans = np.abs(ends - starts).max(axis=1)
    cell = max(float(spans.mean()) * 1.5, 1e-6)
    pieces = np.maximum(np.ceil(spans / cell).astype(np.int64), 1)
    of = np.repeat(np.arange(count), pieces)
    rank = np.arange(len(of)) - np.repeat(np.cumsum(pieces) - pieces, pieces)
    step = ((ends - starts) / pieces[:, None])[of]
    low = starts[of] + step * rank[:, None]
    corners = np.stack((np.minimum(low, low + step), np.maximum(low, low + step)))
    columns = np.floor((corners - corners[0].min(axis=0)) / cell + [[[-1e-9]], [[1e-9]]])
    cells = columns.astype(np.int64) + 1
    held = np.concatenate(
        [
            np.column_stack((cells[a, :, 0] * (1 << 31) + cells[b, :, 1], of))
            for a in (0, 1)
            for b in (0, 1)
        ]
    )
    held = np.unique(held, axis=0)
    _, first, counts = np.unique(held[:, 0], return_index=True, return_counts=True)
    work.take(int((counts * (counts - 1) // 2).sum()))
    left = np.repeat(first + counts, counts) - np.arange(len(held))  # members from here to the end
    found = [np.empty((0, 2), np.int64)]
    for apart in range(1, int(counts.max())):
        here = np.flatnonzero(left > apart)
        found.append(np.column_stack((held[here, 1], held[here + apart, 1])))
    pairs = np.unique(np.sort(np.concatenate(found), axis=1), axis=0)
    pairs = pairs[pairs[:, 0] != pairs[:, 1]]
    return pairs[:, 0], pairs[:, 1]


def _meet(
    p: Floats, q: Floats, r: Floats, s: Floats
) -> tuple[npt.NDArray[np.bool_], npt.NDArray[np.bool_]]:
    """Whether segments pq and rs meet, and whether they pass through each other."""
    apart = np.maximum(
        np.minimum(p, q) - np.maximum(r, s), np.minimum(r, s) - np.maximum(p, q)
    ).max(axis=1)
    from_pq = np.stack((_off(p, q, r), _off(p, q, s)))
    from_rs = np.stack((_off(r, s, p), _off(r, s, q)))
    meets = apart <= TOUCH_MM
    through = meets.copy()
    for off in (from_pq, from_rs):
        meets &= (off.min(axis=0) <= TOUCH_MM) & (off.max(axis=0) >= -TOUCH_MM)
        through &= (off.min(axis=0) < -TOUCH_MM) & (off.max(axis=0) > TOUCH_MM)
    return meets, through


def _off(a: Floats, b: Floats, point: Floats) -> Floats:
    """Signed distance in mm of a point from the line through a and b."""
    way = b - a
    length = np.maximum(np.hypot(way[:, 0], way[:, 1]), 1e-12)
    turned: Floats = way[:, 0] * (point - a)[:, 1] - way[:, 1] * (point - a)[:, 0]
    return turned / length


def _first(p: Floats, q: Floats, r: Floats, s: Floats) -> Hit | None:
    """Where the first of pairs of segments meet, one that passes through before one that does
    not."""
    meets, through = _meet(p, q, r, s)
    hits = np.flatnonzero(through) if through.any() else np.flatnonzero(meets)
    if not len(hits):
        return None
    k = int(hits[0])
    return _point(p[k], q[k], r[k], s[k]), bool(through[k])


def _point(p: Floats, q: Floats, r: Floats, s: Floats) -> Point:
    way, across = q - p, s - r
    turn = way[0] * across[1] - way[1] * across[0]
    if abs(turn) < 1e-12:
        middle = (np.maximum(np.minimum(p, q), np.minimum(r, s))
                  + np.minimum(np.maximum(p, q), np.maximum(r, s))) / 2  # fmt: skip
        return float(middle[0]), float(middle[1])
    share = min(max(((r - p)[0] * across[1] - (r - p)[1] * across[0]) / turn, 0.0), 1.0)
    return float(p[0] + way[0] * share), float(p[1] + way[1] * share)
