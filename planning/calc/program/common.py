"""Edges between two parts that are cut once, and edges that are burnt twice.

A part that borrows an edge is cut as an open path with both ends on a contour cut before it. The
way between the two ends along that contour is then its last edge: of the two ways there are the
one with which it encloses less, since the other takes in the part it borrows from. Each part
carries half of what burning the edge took. A path inside the other one divides it (``parts``).
"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from planning.calc.program.leads import loop_span
from planning.calc.program.nesting import contains
from planning.calc.program.types import Contour, Floats, Indices

ON_EDGE_MM: Final = 0.1  # our assumption: how far an end may lie off the edge it borrows
LEAST_MM: Final = 1.0
_ANGLE_RAD: Final = 1e-3
_OFFSET_MM: Final = 0.1


@dataclass(frozen=True, slots=True)
class Borrowed:
    """An open contour's last edge: along contour ``of`` for ``length_mm``. ``area_mm2`` is the
    signed area between that edge and the chord it spans, run from the path's end to its start."""

    of: int
    length_mm: float
    area_mm2: float


def borrowed_edge(path: Floats, others: Iterable[Contour]) -> Borrowed | None:
    """The edge an open path, an (n, 2) array, borrows from one of ``others`` (closed, cut before),
    the newest of them first; None where it borrows none."""
    if len(path) < 2:
        return None
    start, end = path[0], path[-1]
    for other in others:
        box = other.extents_mm
        if not (_near(box, start) and _near(box, end)):
            continue
        loop = loop_points(other)
        at = [_along(loop, point) for point in (end, start)]
        if at[0] is None or at[1] is None or contains(loop, _middle(path)):
            continue
        edge = min(_ways(loop, at[0], at[1]), key=lambda way: abs(_shoelace(path) + _shoelace(way)))
        length = float(np.hypot(*np.diff(edge, axis=0).T).sum())
        if length >= LEAST_MM:
            return Borrowed(other.number, length, _shoelace(edge))
    return None


def loop_points(contour: Contour) -> Floats:
    first, last = loop_span(contour.points, contour.lead_in_mm, contour.lead_out_mm)
    return contour.points[first : last + 1]


def own_shares(contours: Sequence[Contour]) -> dict[int, float]:
    """By number, the share of its own arc each contour carries: less than 1 for one that cuts an
    edge for another too, more for the one that borrows it. Arcs times shares keep their sum where
    arcs go by length."""
    moved: dict[int, float] = defaultdict(float)
    for contour in contours:
        if contour.common_with is not None:
            moved[contour.common_with] -= contour.common_mm / 2
            moved[contour.number] += contour.common_mm / 2
    return {
        contour.number: contour.share + moved[contour.number] / contour.length_mm
        if contour.length_mm > 0 and contour.number in moved
        else contour.share
        for contour in contours
    }


def burnt_twice(contours: Sequence[Contour]) -> list[tuple[Contour, Contour, float]]:
    """Pairs of contours whose straight edges run on one another, the later one first, with the
    length in mm that is burnt twice. Leads are left out."""
    found: dict[tuple[int, int], float] = defaultdict(float)
    edges, owner = _edges(contours)
    for one, other in _in_one_line(edges, owner):
        both = min(edges[one, 1], edges[other, 1]) - max(edges[one, 0], edges[other, 0])
        alike = abs(edges[one, 2] - edges[other, 2]) <= _ANGLE_RAD
        if both >= LEAST_MM and alike and abs(edges[one, 3] - edges[other, 3]) <= _OFFSET_MM:
            found[int(owner[other]), int(owner[one])] += float(both)
    return [(contours[i], contours[j], length) for (i, j), length in sorted(found.items())]


def _edges(contours: Sequence[Contour]) -> tuple[Floats, Indices]:
    """Straight edges as (n, 4) rows of (from, to, angle, offset) along and off their own line, and
    the index of the contour each belongs to."""
    loops = [loop_points(contour) for contour in contours]
    steps = [np.diff(loop, axis=0) for loop in loops]
    if not any(len(step) for step in steps):
        return np.empty((0, 4)), np.empty(0, np.intp)
    start = np.concatenate([loop[:-1] for loop in loops])
    step = np.concatenate(steps)
    owner = np.repeat(np.arange(len(loops)), [len(each) for each in steps])
    long = np.hypot(step[:, 0], step[:, 1]) >= LEAST_MM
    start, step, owner = start[long], step[long], owner[long]
    angle = np.arctan2(step[:, 1], step[:, 0]) % math.pi
    angle[math.pi - angle < _ANGLE_RAD / 2] = 0.0
    ux, uy = np.cos(angle), np.sin(angle)
    begin = start[:, 0] * ux + start[:, 1] * uy
    end = begin + step[:, 0] * ux + step[:, 1] * uy
    offset = start[:, 1] * ux - start[:, 0] * uy
    return np.column_stack((np.minimum(begin, end), np.maximum(begin, end), angle, offset)), owner


def _in_one_line(edges: Floats, owner: Indices) -> set[tuple[int, int]]:
    """Pairs of edges of two contours that may lie in one line, the earlier contour's first. Every
    edge is put into the four cells around its angle and offset, so that two that lie within a
    cell's size of each other meet in one."""
    pairs: set[tuple[int, int]] = set()
    if not len(edges):
        return pairs
    turn = np.floor(edges[:, 2] / _ANGLE_RAD).astype(np.int64)
    away = np.floor(edges[:, 3] / _OFFSET_MM).astype(np.int64)
    for i in (0, 1):
        for j in (0, 1):
            cell = (turn + i) // 2 * (1 << 40) + (away + j) // 2
            order = np.lexsort((owner, cell))
            bounds = np.flatnonzero(np.diff(cell[order], prepend=cell[order[0]] - 1))
            last = np.append(bounds[1:], len(order)) - 1
            several = owner[order[bounds]] != owner[order[last]]
            for start, end in zip(bounds[several].tolist(), last[several].tolist(), strict=True):
                pairs.update(_overlapping(order[start : end + 1], edges, owner))
    return pairs


def _overlapping(group: Indices, edges: Floats, owner: Indices) -> list[tuple[int, int]]:
    """Pairs in a group whose stretches overlap, found in order of where they begin."""
    found: list[tuple[int, int]] = []
    open_: list[int] = []
    for one in group[np.argsort(edges[group, 0], kind="stable")].tolist():
        open_ = [other for other in open_ if edges[other, 1] > edges[one, 0]]
        for other in open_:
            if owner[one] != owner[other]:
                found.append((one, other) if owner[one] < owner[other] else (other, one))
        open_.append(one)
    return found


def _near(box: tuple[float, float, float, float], point: Floats) -> bool:
    x, y = float(point[0]), float(point[1])
    return (
        box[0] - ON_EDGE_MM <= x <= box[2] + ON_EDGE_MM
        and box[1] - ON_EDGE_MM <= y <= box[3] + ON_EDGE_MM
    )


def _along(loop: Floats, point: Floats) -> tuple[int, float] | None:
    """(edge, share of it) of the place on a loop nearest to a point, None where it is too far."""
    from_, step = loop[:-1], np.diff(loop, axis=0)
    length2 = (step**2).sum(axis=1)
    share = np.divide(
        ((point - from_) * step).sum(axis=1), length2, out=np.zeros(len(step)), where=length2 > 0
    ).clip(0, 1)
    away = np.hypot(*(from_ + step * share[:, None] - point).T)
    at = int(away.argmin())
    return (at, float(share[at])) if away[at] <= ON_EDGE_MM else None


def _ways(loop: Floats, begin: tuple[int, float], end: tuple[int, float]) -> tuple[Floats, Floats]:
    """The points of both ways along a closed loop between two places on it."""
    (i, s), (j, t) = begin, end
    first = loop[i] + (loop[i + 1] - loop[i]) * s
    last = loop[j] + (loop[j + 1] - loop[j]) * t
    turns = len(loop) - 1
    forward = [loop[k % turns] for k in range(i + 1, (j if (i, s) <= (j, t) else j + turns) + 1)]
    onward = np.array([first, *forward, last])
    back = [loop[k % turns] for k in range(i, (j if (i, s) >= (j, t) else j - turns), -1)]
    backward = np.array([first, *back, last])
    return onward, backward


def _middle(path: Floats) -> Floats:
    """Halfway along a path."""
    run = np.concatenate(([0.0], np.cumsum(np.hypot(*np.diff(path, axis=0).T))))
    return np.array([np.interp(run[-1] / 2, run, path[:, axis]) for axis in (0, 1)])


def _shoelace(points: Floats) -> float:
    x, y = points[:, 0] - points[0, 0], points[:, 1] - points[0, 1]
    return float((x * np.roll(y, -1) - np.roll(x, -1) * y).sum() / 2)
