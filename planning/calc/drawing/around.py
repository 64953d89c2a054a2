"""Which closed path lies inside which."""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Sequence

import numpy as np

from planning.calc.drawing.curves import Box
from planning.calc.drawing.quadrature import Floats

_WIDE = 64  # cells; a box over more of them is looked at every time


def parents(
    paths: Sequence[Floats], boxes: Sequence[Box], areas: Sequence[float]
) -> list[int | None]:
    """For each closed path the index of the smallest one around it, None where there is none.
    Told by three of its points, two of which must lie inside (even-odd rule)."""
    if not paths:
        return []
    grid = _Grid(boxes)
    found: list[int | None] = []
    for i, polygon in enumerate(paths):
        box, area = boxes[i], areas[i]
        # three points that lie on no common corner: the middles of chords
        chords = [polygon[k : k + 2].mean(axis=0) for k in
                  (0, len(polygon) // 3, 2 * len(polygon) // 3 - 1)]  # fmt: skip
        around = [
            k for k in grid.at(box[0], box[1])
            if k != i and areas[k] > area and _holds(boxes[k], box)
        ]  # fmt: skip
        around.sort(key=lambda k: areas[k])
        found.append(next((k for k in around if _inside(paths[k], chords) >= 2), None))
    return found


class _Grid:
    """Boxes by the cells they cover, so that a point finds those around it."""

    def __init__(self, boxes: Sequence[Box]) -> None:
        table = np.asarray(boxes, dtype=np.float64)
        self._low = table[:, :2].min(axis=0)
        span = float((table[:, 2:].max(axis=0) - self._low).max())
        self._cell = max(span / max(1.0, math.sqrt(len(boxes))), 1e-6)
        self._cells: dict[tuple[int, int], list[int]] = defaultdict(list)
        self._wide: list[int] = []
        for i, (x_min, y_min, x_max, y_max) in enumerate(boxes):
            (c0, r0), (c1, r1) = self._of(x_min, y_min), self._of(x_max, y_max)
            if (c1 - c0 + 1) * (r1 - r0 + 1) > _WIDE:
                self._wide.append(i)
                continue
            for column in range(c0, c1 + 1):
                for row in range(r0, r1 + 1):
                    self._cells[column, row].append(i)

    def _of(self, x: float, y: float) -> tuple[int, int]:
        return (
            math.floor((x - self._low[0]) / self._cell),
            math.floor((y - self._low[1]) / self._cell),
        )

    def at(self, x: float, y: float) -> list[int]:
        return [*self._wide, *self._cells.get(self._of(x, y), ())]


def _holds(outer: Box, inner: Box) -> bool:
    slack = 1e-6
    return (
        outer[0] <= inner[0] + slack
        and outer[1] <= inner[1] + slack
        and outer[2] >= inner[2] - slack
        and outer[3] >= inner[3] - slack
    )


def _inside(polygon: Floats, points: Sequence[Floats]) -> int:
    x, y = polygon[:-1, 0], polygon[:-1, 1]
    nx, ny = polygon[1:, 0], polygon[1:, 1]
    count = 0
    for px, py in points:
        straddles = (y > py) != (ny > py)
        rise = np.where(straddles, ny - y, 1.0)
        count += int((straddles & (x + (py - y) * (nx - x) / rise > px)).sum() % 2)
    return count
