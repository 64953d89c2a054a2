"""Where contours cross or touch themselves or each other, found on their chords.

shapely's tree says which chords lie near each other; whether they meet, and whether they pass
through each other, is told here, since a touch counts within a tolerance.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import shapely

from planning.calc.drawing.curves import Point
from planning.calc.drawing.quadrature import Floats

Indices = npt.NDArray[np.intp]
TOUCH_MM = 1e-6
MOST_CHORDS = 2_000_000
MOST_PAIRS = 5_000_000  # of chords near each other, looked at in all
MOST_MEETINGS = 2_000  # of paths; a drawing with more is a tangle, whatever it means
AT_ONCE = (16, 512)  # chords asked after together, the fewer the denser they lie
DENSE = 500


@dataclass(frozen=True, slots=True)
class Crossing:
    """Paths ``one`` and ``other`` (by index; the same for a path that meets itself) at a point in
    mm; ``through`` is False where they only touch or run along each other."""

    one: int
    other: int
    at: Point
    through: bool


def crossings(paths: Sequence[Floats], simple: Sequence[bool]) -> tuple[list[Crossing], bool]:
    """One meeting of each two paths of (n, 2) points, and of each with itself, a crossing where
    there is one; a path is closed where its last point is its first, and ``simple`` where it cannot
    meet itself. Also whether all were looked for: not past ``MOST_CHORDS``, ``MOST_PAIRS`` or
    ``MOST_MEETINGS``. Chords lie within their tolerance of the true curve, so contours nearer than
    that may be told wrongly."""
    if sum(len(path) - 1 for path in paths) > MOST_CHORDS:
        return [], False
    chords = _Chords(paths, simple)
    found: dict[tuple[int, int], Crossing] = {}
    whole = chords.look(found)
    return sorted(found.values(), key=lambda each: (each.one, each.other)), whole


class _Chords:
    """All chords of all paths in one array, with the path each belongs to."""

    def __init__(self, paths: Sequence[Floats], simple: Sequence[bool]) -> None:
        counts = np.array([len(path) - 1 for path in paths], dtype=np.intp)
        self.starts = np.concatenate([path[:-1] for path in paths])
        self.ends = np.concatenate([path[1:] for path in paths])
        self.of = np.repeat(np.arange(len(paths)), counts)
        firsts = np.cumsum(counts) - counts
        closed = np.array([bool((path[0] == path[-1]).all()) for path in paths])
        # the last chord of a ring lies beside its first
        self.last = np.where(closed, firsts + counts - 1, -1)
        self.first = firsts
        self.settled = np.array(
            [alone or _convex(path) for path, alone in zip(paths, simple, strict=True)]
        )
        lines: npt.NDArray[np.object_] = np.asarray(
            shapely.linestrings(np.stack((self.starts, self.ends), axis=1))
        )
        self.tree = shapely.STRtree(lines)

    def look(self, found: dict[tuple[int, int], Crossing]) -> bool:
        """Fills ``found`` by pair of paths; False where there was more to look at than allowed.
        A path that is known to cross itself is not looked at in itself again."""
        left, at, step = MOST_PAIRS, 0, AT_ONCE[0]
        while at < len(self.starts):
            one, other = self._near(at, step)
            left -= len(one)
            if left < 0 or len(found) > MOST_MEETINGS:
                return False
            self._meetings(one, other, found)
            at += step
            step = AT_ONCE[0] if len(one) > DENSE * step else min(2 * step, AT_ONCE[1])
        return True

    def _near(self, at: int, count: int) -> tuple[Indices, Indices]:
        some = slice(at, at + count)
        low = np.minimum(self.starts[some], self.ends[some]) - TOUCH_MM
        high = np.maximum(self.starts[some], self.ends[some]) + TOUCH_MM
        near = self.tree.query(shapely.box(low[:, 0], low[:, 1], high[:, 0], high[:, 1]))
        one, other = near[0] + at, near[1]
        counts = one < other
        one, other = one[counts], other[counts]
        same = self.of[one] == self.of[other]
        beside = (other - one == 1) | (
            (one == self.first[self.of[one]]) & (other == self.last[self.of[one]])
        )
        counts = ~same | (~beside & ~self.settled[self.of[one]])
        return one[counts], other[counts]

    def _meetings(
        self, one: Indices, other: Indices, found: dict[tuple[int, int], Crossing]
    ) -> None:
        p, q, r, s = self.starts[one], self.ends[one], self.starts[other], self.ends[other]
        meets, through = _meet(p, q, r, s)
        for passes in (True, False):
            hits = np.flatnonzero(through if passes else meets & ~through)
            pairs = np.column_stack((self.of[one[hits]], self.of[other[hits]]))
            fresh, places = np.unique(pairs, axis=0, return_index=True)
            for (i, j), place in zip(fresh.tolist(), hits[places].tolist(), strict=True):
                known = found.get((i, j))
                if known is None or (passes and not known.through):
                    at = _point(p[place], q[place], r[place], s[place])
                    found[i, j] = Crossing(i, j, at, passes)
                self.settled[i] |= passes and i == j


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


def _point(p: Floats, q: Floats, r: Floats, s: Floats) -> Point:
    way, across = q - p, s - r
    turn = way[0] * across[1] - way[1] * across[0]
    if abs(turn) < 1e-12:
        middle = (np.maximum(np.minimum(p, q), np.minimum(r, s))
                  + np.minimum(np.maximum(p, q), np.maximum(r, s))) / 2  # fmt: skip
        return float(middle[0]), float(middle[1])
    share = min(max(((r - p)[0] * across[1] - (r - p)[1] * across[0]) / turn, 0.0), 1.0)
    return float(p[0] + way[0] * share), float(p[1] + way[1] * share)
