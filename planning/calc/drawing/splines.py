"""B-splines, rational or not, as the Bezier curves they are made of."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

from planning.calc.drawing.curves import Bezier
from planning.calc.drawing.quadrature import Floats
from planning.calc.said import said

Indices = npt.NDArray[np.intp]
MOST_DEGREE = 15


def beziers(
    points: Sequence[Sequence[float]],
    knots: Sequence[float],
    degree: int,
    weights: Sequence[float] | None = None,
) -> list[Bezier]:
    """The curve from knot ``degree`` to knot ``-degree - 1``, one Bezier a span that has length.

    ``points`` are (x, y) in mm. A span's Bezier points are values of its polar form (L. Ramshaw,
    Blossoming: a connect-the-dots approach to splines, 1987); knots need not be clamped. Raises
    ``ValueError`` for counts that do not fit, knots that fall, weights that are not positive.
    """
    count = len(points)
    if not 1 <= degree <= MOST_DEGREE:
        raise ValueError(said("a spline of degree {degree}", degree=degree))
    if count < degree + 1:
        raise ValueError(
            said(
                "a spline of degree {degree} with {count} control points",
                degree=degree,
                count=count,
            )
        )
    if len(knots) != count + degree + 1:
        raise ValueError(
            said(
                "{count} control points need {needed} knots, not {knots}",
                count=count,
                needed=count + degree + 1,
                knots=len(knots),
            )
        )
    places: Floats = np.asarray(knots, dtype=np.float64)
    if (np.diff(places) < 0).any() or not places[degree] < places[count]:
        raise ValueError(said("its knots do not rise"))
    given: Floats = np.ones(count) if weights is None else np.asarray(weights, dtype=np.float64)
    if len(given) != count or not (given > 0).all():
        raise ValueError(said("its weights are not one positive number a control point"))
    plane: Floats = np.asarray(points, dtype=np.float64)[:, :2]
    held: Floats = np.column_stack((plane * given[:, None], given))
    spans = np.flatnonzero(places[degree:count] < places[degree + 1 : count + 1]) + degree
    polar = [_polar(held, places, degree, spans, j) for j in range(degree + 1)]
    pieces = np.stack(polar, axis=1)
    if weights is None:
        pieces[:, :, 2] = 1.0  # without what rounding left
    return [Bezier(each) for each in pieces]


def _polar(held: Floats, knots: Floats, degree: int, spans: Indices, ends: int) -> Floats:
    """Each span's polar form at its start, ``degree`` - ``ends`` times, and its end, by de Boor's
    triangle; a row a span."""
    found = held[spans[:, None] + np.arange(-degree, 1)]
    for r in range(1, degree + 1):
        at = knots[spans + (r > degree - ends)]
        for j in range(degree, r - 1, -1):
            i = spans - degree + j
            low, high = knots[i], knots[i + degree - r + 1]
            share = ((at - low) / (high - low))[:, None]
            found[:, j] = (1 - share) * found[:, j - 1] + share * found[:, j]
    return np.asarray(found[:, degree])
