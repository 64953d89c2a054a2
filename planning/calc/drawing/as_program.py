"""A drawing as the program that might cut it, so that one plan serves both.

Estimated: no program yet. The rules, all ours and stated with every figure: contours are cut as
numbered from inside out, each time the nearest start of those whose insides are done; the torch
comes from the lower left corner of the part and does not go back; each contour has a straight
lead-in of ``lead_mm`` along its first direction and no lead-out; no kerf is added or taken off.
Marking is not in it.
"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from planning.calc.drawing.curves import CHORD_MM, Arc, Curve, Line, Point
from planning.calc.drawing.types import Contour, Drawing
from planning.calc.program import Note, Program
from planning.calc.program.types import ARC_CCW, ARC_CW, LINE, RAPID, Moves
from planning.calc.said import said

LEAST_LEAD_MM = 3.0
MOST_NEAREST = 5_000


def usual_lead_mm(thickness_mm: float) -> float:
    """The lead-in allowed for where nobody says: the thickness, at least 3 mm. Common practice, no
    source: the pierce must clear the edge, and thicker plate leaves a wider crater."""
    return max(LEAST_LEAD_MM, thickness_mm)


def estimate_words(lead_mm: float, *, marked: bool = False) -> str:
    """What a plan made from a drawing rests on, for the page. Marking has a length and no speed: no
    chart row is for it, so its time is in no estimate."""
    told = said(
        "estimated: no program yet; {lead_mm:g} mm of lead-in a contour, travel "
        "to the nearest next start, inner contours first, no kerf",
        lead_mm=lead_mm,
    )
    return said("{told}; marking takes time too and is not in it", told=told) if marked else told


@dataclass(slots=True)
class _Row:
    kind: int
    x: float
    y: float
    length: float
    torch: bool
    arc: int
    cx: float = 0.0
    cy: float = 0.0
    sweep: float = 0.0
    stop: bool = False


def as_program(drawing: Drawing, lead_mm: float) -> Program:
    """The drawing's cut contours as a program in mm, its lower left corner at X0 Y0. A contour's
    line in notes and plans is its number in the drawing. Ellipses and splines are chorded finely;
    their moves keep the lengths of the true curve."""
    if not 0 <= lead_mm <= 100:
        raise ValueError(said("a lead-in of 0 to 100 mm, not {lead_mm:g} mm", lead_mm=lead_mm))
    corner = drawing.extents_mm[:2]
    order = cut_order(drawing.contours, corner)
    rows: list[_Row] = []
    starts: list[int] = []
    at: Point = corner
    for arc, contour in enumerate(order):
        lead = _lead(contour, lead_mm)
        rows.append(_Row(RAPID, *lead, math.dist(at, lead), False, -1, stop=True))
        starts.append(len(rows))
        if lead_mm:
            rows.append(_Row(LINE, *contour.start, lead_mm, True, arc))
        for curve in contour.curves:
            rows += _moves(curve, arc)
        rows[-1].stop = True
        at = contour.end
    numbers = [contour.number for contour in order]
    return Program(
        moves=_arrays(rows, corner, numbers),
        dwells=(),
        arc_lines=tuple(numbers),
        arc_starts=tuple(starts),
        notes=(Note(0, estimate_words(lead_mm)),),
        blocks=len(rows),
        last_line=len(numbers),
    )


def cut_order(contours: Sequence[Contour], start: Point) -> list[Contour]:
    """Each time the nearest start among contours with nothing left uncut inside. Above
    ``MOST_NEAREST`` contours they stay as numbered, which is from inside out as well."""
    if len(contours) > MOST_NEAREST:
        return list(contours)
    left: dict[int, int] = defaultdict(int)
    for contour in contours:
        if contour.inside is not None:
            left[contour.inside] += 1
    places = np.array([contour.start for contour in contours]).reshape(-1, 2)
    index = {contour.number: i for i, contour in enumerate(contours)}
    free = np.array([left[contour.number] == 0 for contour in contours], dtype=bool)
    done: list[Contour] = []
    at: Point = start
    while free.any():
        away = np.where(free, np.hypot(places[:, 0] - at[0], places[:, 1] - at[1]), np.inf)
        k = int(away.argmin())
        contour = contours[k]
        free[k] = False
        done.append(contour)
        at = contour.end
        if contour.inside is not None:
            left[contour.inside] -= 1
            if not left[contour.inside]:
                free[index[contour.inside]] = True
    return done


def _lead(contour: Contour, lead_mm: float) -> Point:
    """Where the lead-in starts: back from the contour's start along its first chord."""
    (ax, ay), (bx, by) = contour.points[0].tolist(), contour.points[1].tolist()
    length = math.hypot(bx - ax, by - ay) or 1.0
    return ax - (bx - ax) / length * lead_mm, ay - (by - ay) / length * lead_mm


def _moves(curve: Curve, arc: int) -> Iterator[_Row]:
    if isinstance(curve, Line):
        yield _Row(LINE, *curve.end, curve.length_mm, True, arc)
        return
    if isinstance(curve, Arc) and curve.round:
        turned = curve.u[0] * curve.v[1] - curve.u[1] * curve.v[0]
        sweep = math.copysign(curve.sweep, curve.sweep * turned)
        kind = ARC_CCW if sweep > 0 else ARC_CW
        yield _Row(kind, *curve.end, curve.length_mm, True, arc, *curve.centre, sweep)
        return
    points = curve.chords(CHORD_MM)
    chords = np.hypot(*np.diff(points, axis=0).T)
    share = curve.length_mm / float(chords.sum())
    for (x, y), chord in zip(points[1:].tolist(), chords.tolist(), strict=True):
        yield _Row(LINE, x, y, chord * share, True, arc)


def _arrays(rows: Sequence[_Row], corner: Point, numbers: Sequence[int]) -> Moves:
    count = len(rows)
    turning = np.array([row.sweep != 0 for row in rows], dtype=bool)
    arc = np.array([row.arc for row in rows], dtype=np.int32)
    lines = np.array([*numbers, 0], dtype=np.int32)
    nan = np.full(count, np.nan)
    return Moves(
        kind=np.array([row.kind for row in rows], dtype=np.int8),
        x=np.array([row.x for row in rows], dtype=np.float64) - corner[0],
        y=np.array([row.y for row in rows], dtype=np.float64) - corner[1],
        cx=np.where(turning, np.array([row.cx for row in rows]) - corner[0], 0.0),
        cy=np.where(turning, np.array([row.cy for row in rows]) - corner[1], 0.0),
        sweep_rad=np.array([row.sweep for row in rows], dtype=np.float64),
        length_mm=np.array([row.length for row in rows], dtype=np.float64),
        feed_mm_min=nan,
        torch=np.array([row.torch for row in rows], dtype=bool),
        exact_stop=np.zeros(count, dtype=bool),
        tolerance_mm=nan.copy(),
        stop_after=np.array([row.stop for row in rows], dtype=bool),
        arc=arc,
        line=lines[arc],
    )
