"""A part's contours as paths for its map: loops, and the leads to and from them. Pure."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any, Protocol

import numpy as np

from planning.calc.program.leads import loop_span

Path = tuple[tuple[float, float], ...]


class Cut(Protocol):
    """A contour's drawn points in mm, [[x, y], ...], and the lengths of its leads."""

    points: Any
    lead_in_mm: float
    lead_out_mm: float


class PartCut(Cut, Protocol):
    """A contour of a part: its number, the rings of what it makes where its path is none, and the
    numbers of others that cut their edges."""

    number: int
    inner: bool
    closed: bool
    faces: Any
    edges: Any


def part_paths(contours: Sequence[PartCut]) -> tuple[tuple[Path, ...], tuple[Path, ...]]:
    """(loops, leads) of one part's contours, its outline first. What only cuts an edge of it, or
    lies open in it, encloses nothing and is drawn as leads are."""
    home = contours[0]
    own = [contour for contour in contours if not contour.faces and _encloses(contour, home)]
    loops, leads = paths_of(own)
    rings = [ring for contour in contours for ring in contour.faces]
    drawn = tuple(tuple((float(x), float(y)) for x, y in ring) for ring in rings)
    others = [contour for contour in contours if contour.faces or not _encloses(contour, home)]
    thin = tuple(tuple((float(x), float(y)) for x, y in one.points) for one in others)
    return drawn + loops, leads + tuple(path for path in thin if len(path) > 1)


def _encloses(contour: PartCut, home: PartCut) -> bool:
    if contour is home:
        return True
    return contour.closed and contour.number not in home.edges


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
