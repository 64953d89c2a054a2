"""Which contour lies inside which, and so the net area of each."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import shapely

from planning.calc.program.types import Contour, Floats


def nest(contours: list[Contour]) -> tuple[Contour, ...]:
    """Contours with ``inside`` (the number of the smallest part around each), ``outer`` and the net
    area of those that are outlines: at an even depth, less what is cut out directly inside."""
    at = {contour.number: i for i, contour in enumerate(contours)}
    parents = _parents(contours)
    for i, contour in enumerate(contours):
        if contour.outer not in (0, contour.number):
            parents[i] = parents[at[contour.outer]]
    depth = [_depth(i, parents) for i in range(len(contours))]
    holes = [0.0] * len(contours)
    for i, parent in enumerate(parents):
        if parent is not None:
            holes[parent] += contours[i].area_mm2 or 0.0
    return tuple(
        replace(
            contour,
            inside=None if (parent := parents[i]) is None else contours[parent].number,
            outer=contours[_outer(i, contours, at, parents, depth)].number,
            net_area_mm2=None
            if contour.area_mm2 is None or depth[i] % 2
            else contour.area_mm2 - holes[i],
        )
        for i, contour in enumerate(contours)
    )


def _outer(
    index: int,
    contours: list[Contour],
    at: dict[int, int],
    parents: list[int | None],
    depth: list[int],
) -> int:
    """The contour a part is named after. Counted inwards, every second ring is a hole: what lies in
    a hole is a part of its own again. An open path in a part is a slot in it."""
    home = at.get(contours[index].outer, index)
    parent = parents[home]
    if parent is None:
        return _beside(index, contours) if contours[index].marks else home
    if not contours[home].marks and (contours[home].area_mm2 is not None or contours[home].closed):
        return parent if depth[home] % 2 else home
    while depth[parent] % 2:
        above = parents[parent]
        if above is None:
            break
        parent = above
    return parent


def _beside(index: int, contours: list[Contour]) -> int:
    """For a mark on no part: the next contour that cuts, else the last before it, else itself."""
    cuts = [i for i, contour in enumerate(contours) if not contour.marks]
    after = [i for i in cuts if i > index]
    near = after[0] if after else cuts[-1] if cuts else index
    outer = contours[near].outer
    return next((i for i in cuts if contours[i].number == outer), near)


def _parents(contours: list[Contour]) -> list[int | None]:
    parents: list[int | None] = [None] * len(contours)
    regions = [
        (i, ring, area) for i, contour in enumerate(contours) for ring, area in _regions(contour)
    ]
    if not regions:
        return parents
    boxes = np.array([_box(contours[i], ring) for i, ring, _ in regions])
    areas = np.array([area for _, _, area in regions])
    owner = np.array([i for i, _, _ in regions])
    for i, contour in enumerate(contours):
        crossed = contour.closed and not contour.marks
        if contour.area_mm2 is None and (crossed or not len(contour.points)):
            continue
        box = contour.extents_mm
        around = (
            (boxes[:, 0] <= box[0])
            & (boxes[:, 1] <= box[1])
            & (boxes[:, 2] >= box[2])
            & (boxes[:, 3] >= box[3])
            & (owner != i)
        )
        if contour.area_mm2 is not None:
            around &= areas > contour.area_mm2
        candidates = np.flatnonzero(around)
        spot = _spot(contour)
        for k in candidates[np.argsort(areas[candidates])]:
            if contains(regions[k][1], spot):
                parents[i] = regions[k][0]
                break
    return parents


def _regions(contour: Contour) -> list[tuple[Floats, float]]:
    """The rings that a contour's parts lie in, each with its area."""
    if contour.area_mm2 is None:
        return []
    if contour.faces:
        return [(ring, _area(ring)) for ring in contour.faces]
    return [(contour.points, contour.area_mm2)]


def _spot(contour: Contour) -> Floats:
    """A place of a contour: within the parts it makes, else on it."""
    if not contour.faces:
        return np.asarray(contour.points[-1])
    inside = shapely.point_on_surface(shapely.polygons(contour.faces[0]))
    return np.asarray(shapely.get_coordinates(inside)[0])


def _box(contour: Contour, ring: Floats) -> tuple[float, float, float, float]:
    if not contour.faces:
        return contour.extents_mm
    (x0, y0), (x1, y1) = ring.min(axis=0), ring.max(axis=0)
    return float(x0), float(y0), float(x1), float(y1)


def _area(ring: Floats) -> float:
    return float(shapely.area(shapely.polygons(ring)))


def _depth(index: int, parents: list[int | None]) -> int:
    depth = 0
    parent = parents[index]
    while parent is not None:
        depth += 1
        parent = parents[parent]
    return depth


def contains(polygon: Floats, point: Floats) -> bool:
    """Whether a point lies in a closed polygon, by the crossings of a ray (even-odd rule)."""
    x, y = polygon[:, 0], polygon[:, 1]
    nx, ny = np.roll(x, -1), np.roll(y, -1)
    straddles = (y > point[1]) != (ny > point[1])
    rise = np.where(straddles, ny - y, 1.0)
    crossing = x + (point[1] - y) * (nx - x) / rise
    return bool((straddles & (crossing > point[0])).sum() % 2)
