"""Contours of a read program: where they run, whether they close, what they enclose."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from planning.calc.program.common import borrowed_edge
from planning.calc.program.crossings import Part, Path, part_of
from planning.calc.program.faces import chained, ring_of
from planning.calc.program.leads import closes_within_mm, longest_loop
from planning.calc.program.nesting import nest
from planning.calc.program.parts import with_parts
from planning.calc.program.types import Contour, Floats, Indices, Moves, Program

CHORD_MM = 0.02
TOLD_EACH = 50
_LONG_LEADS = 0.15


def contours_of(
    program: Program, tell: Callable[[int, int], None] | None = None
) -> tuple[Contour, ...]:
    """One contour a torch-on interval, in cut order; ``tell`` hears of every ``TOLD_EACH``."""
    moves = program.moves
    bounds = arc_bounds(program)
    travelled = np.concatenate(([0.0], np.cumsum(np.where(moves.torch, 0.0, moves.length_mm))))
    x0, y0 = moves.x0, moves.y0
    found: list[Contour] = []
    paths: dict[int, Path] = {}
    before = 0.0
    for number, (line, (start, end)) in enumerate(zip(program.arc_lines, bounds, strict=True), 1):
        if tell is not None and number % TOLD_EACH == 1:
            tell(number - 1, len(bounds))
        at = _place(moves, start)
        points = _points(moves, x0, y0, start, end, at)
        loop = _loop(moves, start, end, at)
        area, common, faces = None, None, None
        path = _path(moves, start, end, at, points)
        marks = number - 1 in program.marks
        part = None if marks else part_of(path, _stretch(loop), moves.step_mm)
        if marks:
            pass  # it cuts nothing out
        elif _maybe_several(loop, part, _length(moves, start, end)) and (faces := chained(points)):
            area, loop = float(sum(face.area for face in faces)), Loop(start, end, 0.0, 0.0)
        elif part is not None:
            area = part.area_mm2
            loop = Loop(start, end, part.begin_mm, _length(moves, start, end) - part.end_mm)
        elif loop is not None:
            area = _area(moves, x0, y0, loop.first, loop.last)
        elif common := borrowed_edge(points, (c for c in reversed(found) if c.area_mm2)):
            area = _area(moves, x0, y0, start, end) + common.area_mm2
        else:
            paths[number - 1] = path
        found.append(
            Contour(
                number=number,
                line=line,
                start=at,
                length_mm=float(moves.length_mm[start:end].sum()),
                travel_before_mm=float(travelled[start] - before),
                pierces=0 if marks else 1,
                extents_mm=extents(moves, np.arange(start, end)) if end > start else (*at, *at),
                closed=loop is not None,
                clockwise=None if area is None or faces else area < 0,
                area_mm2=None if area is None else abs(area),
                net_area_mm2=None,
                inside=None,
                points=points,
                lead_in_mm=loop.lead_in_mm if loop else 0.0,
                lead_out_mm=loop.lead_out_mm if loop else 0.0,
                common_with=common.of if common else None,
                common_mm=common.length_mm if common else 0.0,
                parts=len(faces) if faces else 1,
                faces=tuple(ring_of(face) for face in faces or ()),
                marks=marks,
            )
        )
        before = float(travelled[end])
    return nest(with_parts(found, paths))


def _maybe_several(loop: Loop | None, part: Part | None, length_mm: float) -> bool:
    """Whether one torch-on path may make several parts: nothing of it is most of it, or it goes on
    for long after it has closed."""
    if part is not None:
        span = part.end_mm - part.begin_mm
        return part.area_mm2 is None or length_mm - span > _LONG_LEADS * length_mm
    return loop is None or loop.lead_in_mm + loop.lead_out_mm > _LONG_LEADS * length_mm


@dataclass(frozen=True, slots=True)
class Loop:
    """The moves ``first`` to before ``last`` close; leads in mm. ``end_mm`` is where the loop ends
    along the path."""

    first: int
    last: int
    lead_in_mm: float
    lead_out_mm: float
    end_mm: float = 0.0


def _stretch(loop: Loop | None) -> tuple[float, float] | None:
    return None if loop is None else (loop.lead_in_mm, loop.end_mm)


def _length(moves: Moves, start: int, end: int) -> float:
    return float(moves.length_mm[start:end].sum())


def _path(moves: Moves, start: int, end: int, at: tuple[float, float], points: Floats) -> Path:
    own = slice(start, end)
    sweep, length = moves.sweep_rad[own], moves.length_mm[own]
    steps = np.ones(len(sweep), np.intp)
    for i in np.flatnonzero(sweep).tolist():
        steps[i] = chords_of(float(sweep[i]), float(length[i]))
    return Path(
        np.concatenate(([at[0]], moves.x[own])), np.concatenate(([at[1]], moves.y[own])),
        moves.cx[own], moves.cy[own], sweep, length, points, steps,
    )  # fmt: skip


def chords_of(sweep: float, length: float) -> int:
    """In how many chords an arc is drawn that it leaves by ``CHORD_MM`` at most."""
    step = 2 * math.acos(1 - min(CHORD_MM * abs(sweep) / length, 0.5))
    return max(2, math.ceil(abs(sweep) / step))


def arc_bounds(program: Program) -> list[tuple[int, int]]:
    """(first, past the last) move of each arc; an arc without moves is empty where it stands."""
    arc = program.moves.arc
    counts = np.bincount(arc[arc >= 0], minlength=len(program.arc_starts)).tolist()
    return [(at, at + n) for at, n in zip(program.arc_starts, counts, strict=True)]


def extents(moves: Moves, at: Indices) -> tuple[float, float, float, float]:
    """(xmin, ymin, xmax, ymax) in mm of the moves with indices ``at`` (one at least), their starts
    included, true arcs and not their chords."""
    turning = at[moves.sweep_rad[at] != 0]
    qx, qy = _quadrants(moves, turning)
    x = np.concatenate((moves.x[at], _before(moves.x, at), qx))
    y = np.concatenate((moves.y[at], _before(moves.y, at), qy))
    return float(x.min()), float(y.min()), float(x.max()), float(y.max())


def _before(ends: Floats, at: Indices) -> Floats:
    """Where the moves ``at`` start: the end of the one before, or 0."""
    return np.where(at > 0, ends[at - 1], 0.0)


def _quadrants(moves: Moves, at: Indices) -> tuple[Floats, Floats]:
    """The points of arcs furthest right, up, left and down, where an arc passes them."""
    cx, cy, sweep = moves.cx[at], moves.cy[at], moves.sweep_rad[at]
    radius = moves.length_mm[at] / np.abs(sweep)
    begin = np.arctan2(_before(moves.y, at) - cy, _before(moves.x, at) - cx)
    xs, ys = [], []
    for quarter in range(4):
        angle = quarter * math.pi / 2
        turn = np.where(sweep > 0, angle - begin, begin - angle) % math.tau
        hit = turn <= np.abs(sweep)
        xs.append((cx + radius * round(math.cos(angle)))[hit])
        ys.append((cy + radius * round(math.sin(angle)))[hit])
    return np.concatenate(xs), np.concatenate(ys)


def _place(moves: Moves, index: int) -> tuple[float, float]:
    return (float(moves.x[index - 1]), float(moves.y[index - 1])) if index else (0.0, 0.0)


def _points(
    moves: Moves, x0: Floats, y0: Floats, start: int, end: int, at: tuple[float, float]
) -> Floats:
    """The path as (n, 2) points, arcs in chords that leave the arc by ``CHORD_MM`` at most."""
    parts: list[Floats] = [np.array([at])]
    for i in range(start, end):
        sweep = moves.sweep_rad[i]
        if sweep:
            radius = moves.length_mm[i] / abs(sweep)
            n = chords_of(float(sweep), float(moves.length_mm[i]))
            begin = math.atan2(y0[i] - moves.cy[i], x0[i] - moves.cx[i])
            turn = begin + sweep * np.arange(1, n) / n
            parts.append(
                np.column_stack(
                    (moves.cx[i] + radius * np.cos(turn), moves.cy[i] + radius * np.sin(turn))
                )
            )
        parts.append(np.array([[moves.x[i], moves.y[i]]]))
    return np.concatenate(parts)


def _loop(moves: Moves, start: int, end: int, at: tuple[float, float]) -> Loop | None:
    """The loop of a contour, without its leads."""
    x = np.concatenate(([at[0]], moves.x[start:end]))
    y = np.concatenate(([at[1]], moves.y[start:end]))
    run = np.concatenate(([0.0], np.cumsum(moves.length_mm[start:end])))
    found = longest_loop(x, y, run, closes_within_mm(moves.step_mm))
    if found is None:
        return None
    first, last = found
    return Loop(
        start + first, start + last, float(run[first]), float(run[-1] - run[last]), float(run[last])
    )


def _area(moves: Moves, x0: Floats, y0: Floats, start: int, end: int) -> float:
    """Signed area in mm2 (positive counter-clockwise) of a closed stretch of moves: the shoelace of
    its chords plus r2 (sweep - sin sweep) / 2 for each arc."""
    ox, oy = x0[start], y0[start]
    ax, ay = x0[start:end] - ox, y0[start:end] - oy
    bx, by = moves.x[start:end] - ox, moves.y[start:end] - oy
    sweep = moves.sweep_rad[start:end]
    radius = np.divide(
        moves.length_mm[start:end], np.abs(sweep), out=np.zeros_like(sweep), where=sweep != 0
    )
    caps = radius**2 * (sweep - np.sin(sweep)) / 2
    return float(((ax * by - bx * ay) / 2 + caps).sum())
