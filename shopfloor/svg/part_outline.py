"""A part's contours as paths for its map: loops, and the leads to and from them. Pure."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any, Protocol

import numpy as np

from planning.calc.program.leads import loop_span

Path = tuple[tuple[float, float], ...]


class Cut(Protocol):
    """A contour's drawn points in mm, [[x, y], ...], and the lengths of its leads."""

    points: Any
    lead_in_mm: float
    lead_out_mm: float


def paths_of(contours: Iterable[Cut]) -> tuple[tuple[Path, ...], tuple[Path, ...]]:
    """(loops, leads) of those contours that have points, in their order."""
    loops, leads = [], []
    for contour in contours:
        points = tuple((float(x), float(y)) for x, y in contour.points)
        if not points:
            continue
        span = loop_span(np.asarray(points), contour.lead_in_mm, contour.lead_out_mm)
        loops.append(points[span[0] : span[1] + 1])
        both = (points[: span[0] + 1], points[span[1] :])
        leads += [lead for lead in both if len(lead) > 1]
    return tuple(loops), tuple(leads)
