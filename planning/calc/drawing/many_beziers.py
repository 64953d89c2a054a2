"""What is asked of every piece of a spline, worked out for all of them at once.

A spline through 200 points is 200 curves; asking each by itself takes minutes for a drawing of
some hundreds. What is found here is put where the curve itself would keep it, and is left to the
curve where it is not sure: weights other than one, degrees above three, a length on which two
rules do not agree (a cusp).
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from functools import cache
from typing import Final

import numpy as np

from planning.calc.drawing.curves import MOST_CHORDS, SHARES, Bezier
from planning.calc.drawing.quadrature import NODES, PART, RELATIVE, WEIGHTS, Floats

MOST_DEGREE: Final = 3
_NEARLY: Final = 1e-3  # as in ``Bezier.box``
_FINER: Final = (0.0, PART * PART, PART, PART + (1 - PART) * PART, 1.0)


def prepare(pieces: Sequence[Bezier], within_mm: float) -> None:
    """Fill in ends, length, box and chords within ``within_mm`` of polynomial pieces of one
    degree, 2 or 3."""
    if not pieces:
        return
    held = np.array([piece.points for piece in pieces])
    degree = held.shape[1] - 1
    if not 2 <= degree <= MOST_DEGREE or not (held[:, :, 2] == 1.0).all():
        return
    plane = held[:, :, :2]
    start = plane[:, 0]
    coef = np.einsum("nkc,kj->ncj", plane - start[:, None], bernstein(degree))
    slope = coef[:, :, 1:] * np.arange(1, degree + 1)
    coarse, fine = _length(slope, (0.0, 1.0)), _length(slope, (0.0, PART, 1.0))
    agrees = np.abs(fine - coarse) <= RELATIVE * fine
    if (doubt := np.flatnonzero(~agrees)).size:
        finer = _length(slope[doubt], _FINER)
        agrees[doubt] = np.abs(finer - fine[doubt]) <= RELATIVE * finer
        fine[doubt] = finer
    places = np.stack([_value(coef, np.full((1, 1), t)) + start for t in SHARES], axis=1)
    boxes = _boxes(coef, slope, start, plane[:, -1])
    drawn = _chords(plane, coef, start, within_mm)
    for k, piece in enumerate(pieces):
        own = piece.__dict__
        own["start"], own["end"] = tuple(start[k].tolist()), tuple(plane[k, -1].tolist())
        own["box"] = tuple(boxes[k].tolist())
        own["drawn"] = (within_mm, drawn[k])
        own["known_at"] = dict(zip(SHARES, map(tuple, places[k].tolist()), strict=True))
        if agrees[k]:
            own["length_mm"] = float(fine[k])


@cache
def bernstein(degree: int) -> Floats:
    """Row k has the powers of t in the k-th Bernstein polynomial."""
    rise = np.zeros((degree + 1, degree + 1))
    for k in range(degree + 1):
        for j in range(degree - k + 1):
            rise[k, k + j] = math.comb(degree, k) * math.comb(degree - k, j) * (-1) ** j
    return rise


def _value(coef: Floats, t: Floats) -> Floats:
    """Polynomials with the powers of t last, at ``t`` of a shape that fits those before."""
    found = np.zeros(np.broadcast_shapes(coef.shape[:-1], t.shape))
    for power in range(coef.shape[-1] - 1, -1, -1):
        found = found * t + coef[..., power]
    return found


def _length(slope: Floats, cuts: tuple[float, ...]) -> Floats:
    total = np.zeros(len(slope))
    for low, high in itertools.pairwise(cuts):
        half = (high - low) / 2
        t = (low + high) / 2 + half * NODES
        along = _value(slope[:, :, None, :], t)
        total += half * np.hypot(along[:, 0], along[:, 1]) @ WEIGHTS
    return total


def _boxes(coef: Floats, slope: Floats, start: Floats, end: Floats) -> Floats:
    """xmin, ymin, xmax, ymax by ends and turns."""
    low, high = np.minimum(start, end), np.maximum(start, end)
    c, b = slope[:, :, 0], slope[:, :, 1]
    a = slope[:, :, 2] if slope.shape[2] > 2 else np.zeros_like(b)
    for root in _roots(a, b, c):
        for axis in (0, 1):
            t = root[:, axis]
            turns = (t > 0) & (t < 1)
            at = _value(coef, np.where(turns, t, 0.0)[:, None]) + start
            low = np.where(turns[:, None], np.minimum(low, at), low)
            high = np.where(turns[:, None], np.maximum(high, at), high)
    return np.column_stack((low, high))


def _roots(a: Floats, b: Floats, c: Floats) -> tuple[Floats, Floats]:
    """Roots of a t2 + b t + c, nearly real ones by their real part; NaN where there is none."""
    with np.errstate(divide="ignore", invalid="ignore"):
        inner = b * b - 4 * a * c
        near = np.where((inner < 0) & (np.sqrt(-inner) < 2 * _NEARLY * np.abs(a)), 0.0, inner)
        q = -(b + np.where(b < 0, -1.0, 1.0) * np.sqrt(near)) / 2
        return q / a, c / q


def _chords(plane: Floats, coef: Floats, start: Floats, within_mm: float) -> list[Floats]:
    """As ``Bezier.chords``."""
    degree = plane.shape[1] - 1
    second = np.diff(plane, 2, axis=1)
    bend = np.hypot(second[:, :, 0], second[:, :, 1]).max(axis=1) * degree * (degree - 1)
    counts = np.clip(np.ceil(np.sqrt(bend / (8 * within_mm))), 4, MOST_CHORDS).astype(np.intp)
    points = counts + 1
    first = np.cumsum(points) - points
    t = (np.arange(int(points.sum())) - np.repeat(first, points)) / np.repeat(counts, points)
    places = _value(np.repeat(coef, points, axis=0), t[:, None]) + np.repeat(start, points, axis=0)
    places[first], places[first + counts] = start, plane[:, -1]
    return np.split(places, first[1:])
