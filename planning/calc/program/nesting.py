"""Which contour lies inside which, and so the net area of each."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from planning.calc.program.types import Contour, Floats


def nest(contours: list[Contour]) -> tuple[Contour, ...]:
    """Contours with ``inside`` (the number of the smallest contour around each) and the net area of
    those that are outlines: at an even depth, less what is cut out directly inside."""
    parents = _parents(contours)
    depth = [_depth(i, parents) for i in range(len(contours))]
    holes = [0.0] * len(contours)
    for i, parent in enumerate(parents):
        if parent is not None:
            holes[parent] += contours[i].area_mm2 or 0.0
    return tuple(
        replace(
            contour,
            inside=None if (parent := parents[i]) is None else contours[parent].number,
            net_area_mm2=None
            if contour.area_mm2 is None or depth[i] % 2
            else contour.area_mm2 - holes[i],
        )
        for i, contour in enumerate(contours)
    )


def _parents(contours: list[Contour]) -> list[int | None]:
    parents: list[int | None] = [None] * len(contours)
    closed = [i for i, c in enumerate(contours) if c.area_mm2 is not None]
    if not closed:
        return parents
    boxes = np.array([contours[i].extents_mm for i in closed])
    areas = np.array([contours[i].area_mm2 or 0.0 for i in closed])
    for at, i in enumerate(closed):
        box = boxes[at]
        around = (
            (boxes[:, 0] <= box[0])
            & (boxes[:, 1] <= box[1])
            & (boxes[:, 2] >= box[2])
            & (boxes[:, 3] >= box[3])
            & (areas > areas[at])
        )
        candidates = np.flatnonzero(around)
        for k in candidates[np.argsort(areas[candidates])]:
            if _contains(contours[closed[k]].points, contours[i].points[-1]):
                parents[i] = closed[k]
                break
    return parents


def _depth(index: int, parents: list[int | None]) -> int:
    depth = 0
    parent = parents[index]
    while parent is not None:
        depth += 1
        parent = parents[parent]
    return depth


def _contains(polygon: Floats, point: Floats) -> bool:
    """Whether a point lies in a closed polygon, by the crossings of a ray (even-odd rule)."""
    x, y = polygon[:, 0], polygon[:, 1]
    nx, ny = np.roll(x, -1), np.roll(y, -1)
    straddles = (y > point[1]) != (ny > point[1])
    rise = np.where(straddles, ny - y, 1.0)
    crossing = x + (point[1] - y) * (nx - x) / rise
    return bool((straddles & (crossing > point[0])).sum() % 2)
