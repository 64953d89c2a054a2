"""What a person should know of a program before it is cut, each with its line.

Notes, never refusals: the person at the table may know better.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from typing import Final, Protocol

import numpy as np

from planning.calc.program.common import burnt_twice, loop_points
from planning.calc.program.types import Contour, Note
from planning.calc.said import said
from planning.calc.translated import gettext_noop as N_
from planning.calc.units import MM_PER_IN

# Common practice, no source: a hole narrower than the plate is thick comes out too poor for a bolt.
HOLE_TO_THICKNESS: Final = 1.0
# How far a program may reach over the sheet before it is said: our assumption, a kerf's half.
OVER_MM: Final = 1.0
CHORD_MM: Final = 0.02  # by which a drawn arc may lie inside the true one
# A program is taken for laid out in the other unit where, read so, it fits the sheet and fills this
# share of it one way and this share the other. Our assumption: few parts on a large sheet do not.
FILLS: Final = (0.75, 0.5)


def small_holes(contours: Sequence[Contour], thickness_mm: float) -> list[Note]:
    """Holes narrower than the plate is thick. Width is the least of the box's sides and of the
    diameter of a disc of equal area; both in mm."""
    found = []
    depth = _depths(contours)
    for contour in contours:
        if not depth[contour.number] % 2 or contour.area_mm2 is None:
            continue
        wide = _width_mm(contour)
        if wide < HOLE_TO_THICKNESS * thickness_mm - 1e-6:
            text = said(
                "contour {contour}: a hole {0:.3g} wide in {1:.4g} plate, narrower than "
                "the plate is thick; mark it to be drilled, or cut it under size and "
                "ream it",
                wide,
                thickness_mm,
                contour=contour.number,
            )
            found.append(Note(contour.line, text))
    return found


class Laid(Protocol):
    """A contour by where it lies: ``extents_mm`` is (xmin, ymin, xmax, ymax)."""

    @property
    def number(self) -> int: ...
    @property
    def line(self) -> int: ...
    @property
    def extents_mm(self) -> tuple[float, float, float, float]: ...


_MIXED: Final = {
    "inches": N_(
        "the program, {2:n.5g} x {3:.5g}, against a sheet of {0:n.5g} x {1:.5g}: it would fill the "
        "sheet were it in inches; the program is read in millimetres"
    ),
    "mm": N_(
        "the program, {2:n.5g} x {3:.5g}, against a sheet of {0:n.5g} x {1:.5g}: it would fit the "
        "sheet were it in millimetres; the program is read in inches"
    ),
}


def outside_sheet(contours: Sequence[Laid], length_mm: float, width_mm: float) -> list[Note]:
    """What lies beyond a sheet of ``length_mm`` along X and ``width_mm`` along Y. Its corner is at
    X0 Y0 and it lies where the program cuts, so that a zero in any of its corners will do."""
    if not contours:
        return []
    boxes = np.array([contour.extents_mm for contour in contours])
    size = (boxes[:, 2:].max(axis=0) - boxes[:, :2].min(axis=0)).tolist()
    x = _range(boxes[:, 0], boxes[:, 2], length_mm)
    y = _range(boxes[:, 1], boxes[:, 3], width_mm)
    beyond = np.maximum.reduce(
        [x[0] - boxes[:, 0], boxes[:, 2] - x[1], y[0] - boxes[:, 1], boxes[:, 3] - y[1]]
    )
    out = np.flatnonzero(beyond > OVER_MM)
    sides = (length_mm, width_mm)
    first = min(contour.line for contour in contours)
    if mixed := _inch_mix(size, (length_mm, width_mm)):
        return [Note(first, said(_MIXED[mixed], *sides, *size))]
    if not len(out):
        return []
    upright = size[0] <= length_mm + OVER_MM and size[1] <= width_mm + OVER_MM
    if not upright and size[0] <= width_mm + OVER_MM and size[1] <= length_mm + OVER_MM:
        turned = said(
            "the program, {2:n.5g} x {3:.5g}, fits a sheet of {0:n.5g} x {1:.5g} only if the sheet "
            "is turned",
            *sides,
            *size,
        )
        return [Note(contours[int(out[0])].line, turned)]
    notes = [
        Note(
            contours[i].line,
            said(
                "contour {number} reaches {2:.4g} beyond a sheet of {0:n.5g} x {1:.5g}",
                *sides,
                beyond[i],
                number=contours[i].number,
            ),
        )
        for i in out[:20].tolist()
    ]
    if len(out) > 20:
        more = said(
            "and {more} more beyond a sheet of {0:n.5g} x {1:.5g}", *sides, more=len(out) - 20
        )
        notes.append(Note(contours[int(out[20])].line, more))
    return notes


def crossing_notes(contours: Sequence[Contour]) -> list[Note]:
    """Closed contours whose area is unknown, since they cross themselves into several loops."""
    return [
        Note(
            contour.line,
            said(
                "contour {contour} crosses itself and encloses several areas: which of "
                "them is the part cannot be told, so its area is unknown",
                contour=contour.number,
            ),
        )
        for contour in contours
        if contour.closed and contour.area_mm2 is None and not contour.marks
    ]


def edge_notes(contours: Sequence[Contour]) -> list[Note]:
    """Edges burnt twice, edges cut once for two parts, and contours of unknown area."""
    found = crossing_notes(contours)
    found += [
        Note(
            later.line,
            said(
                "contour {later} runs {0:.4g} along an edge of contour {earlier}: that "
                "is burnt twice",
                length,
                later=later.number,
                earlier=earlier.number,
            ),
        )
        for later, earlier, length in burnt_twice(contours)
    ]
    found += [
        Note(
            contour.line,
            said(
                "contour {contour} borrows an edge of {0:.4g} from contour "
                "{common_with}: each carries half of it",
                contour.common_mm,
                contour=contour.number,
                common_with=contour.common_with,
            ),
        )
        for contour in contours
        if contour.common_with is not None
    ]
    found += [
        Note(
            contour.line,
            said(
                "contour {contour} makes {parts} parts at once: they are counted together and "
                "belong to one job line",
                contour=contour.number,
                parts=contour.parts,
            ),
        )
        for contour in contours
        if contour.parts > 1
    ]
    return found


def in_order(notes: Iterable[Note]) -> list[Note]:
    return sorted(notes, key=lambda note: note.line)


def _inch_mix(size: list[float], sheet: tuple[float, float]) -> str:
    """The unit in which a layout would fit the sheet, where it does so only in the other one."""
    fits = any(
        size[0] <= wide + OVER_MM and size[1] <= high + OVER_MM
        for wide, high in (sheet, sheet[::-1])
    )
    shares = [long / side for long, side in zip(sorted(size), sorted(sheet), strict=True)]
    if fits and _fills([share * MM_PER_IN for share in shares]):
        return "inches"
    if not fits and _fills([share / MM_PER_IN for share in shares]):
        return "mm"
    return ""


def _fills(shares: list[float]) -> bool:
    most, least = max(shares), min(shares)
    return FILLS[0] <= most <= 1.02 and least >= FILLS[1]


def _range(low: np.ndarray, high: np.ndarray, side_mm: float) -> tuple[float, float]:
    """Where along one axis the sheet lies: from zero to the side the program cuts on."""
    return (-side_mm, 0.0) if high.max() <= OVER_MM and low.min() < -OVER_MM else (0.0, side_mm)


def _width_mm(contour: Contour) -> float:
    if contour.lead_in_mm or contour.lead_out_mm:
        loop = loop_points(contour)
        box = loop.max(axis=0) - loop.min(axis=0) + 2 * CHORD_MM
    else:
        x0, y0, x1, y1 = contour.extents_mm
        box = np.array([x1 - x0, y1 - y0])
    disc = math.sqrt(4 * (contour.area_mm2 or 0.0) / math.pi)
    return min(float(box[0]), float(box[1]), disc)


def _depths(contours: Sequence[Contour]) -> dict[int, int]:
    inside = {contour.number: contour.inside for contour in contours}
    depth: dict[int, int] = {}
    for number in inside:
        chain, at = 0, inside[number]
        while at is not None and chain <= len(inside):
            chain, at = chain + 1, inside[at]
        depth[number] = chain
    return depth
