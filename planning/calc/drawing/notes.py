"""What is said of contours that are not as they should be."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence

from planning.calc.drawing.crossings import Crossing
from planning.calc.drawing.types import Contour, Note
from planning.calc.said import Value, said


def shape_notes(made: Sequence[Contour]) -> Iterator[Note]:
    """Open contours with their ends, islands, and more pieces than one."""
    for each in made:
        if not each.closed:
            (ax, ay), (bx, by) = each.start, each.end
            text = said(
                "contour {number} on layer {layer} is open: from X {0:n.3f} Y {1:n.3f} "
                "to X {2:n.3f} Y {3:n.3f}, {4:.3f} apart",
                ax,
                ay,
                bx,
                by,
                math.dist(each.start, each.end),
                number=each.number,
                layer=each.layer,
            )
            yield Note(text, True, each.handles[0], each.layer, each.start)
    for each in made:
        if each.kind == "island":
            own = said("contour {number} is in a hole: a piece of its own", number=each.number)
            yield Note(own, False, each.handles[0], each.layer, each.start)
    outers = sum(each.kind == "outer" for each in made)
    if outers > 1:
        yield Note(said("{outers} separate pieces are drawn", outers=outers))


def meeting_notes(
    met: Sequence[Crossing], whole: bool, contour: Mapping[int, Contour]
) -> Iterator[Note]:
    """Crossings and touches; ``contour`` names the paths they speak of, ``whole`` says that all
    were looked for."""
    if not whole:
        yield Note(said("too many lines in one place: not all crossings were looked for"), True)
    for each in met:
        one, other = contour[each.one], contour[each.other]
        what = said("itself") if one is other else said("contour {other}", other=other.number)
        x, y = each.at
        found: dict[str, Value] = {
            "number": one.number,
            "layer": one.layer,
            "what": what,
            "x": x,
            "y": y,
        }
        text = (
            said("contour {number} on layer {layer} crosses {what} at X {x:.3f} Y {y:.3f}", **found)
            if each.through
            else said(
                "contour {number} on layer {layer} touches {what} at X {x:.3f} Y {y:.3f}", **found
            )
        )
        yield Note(text, True, one.handles[0], one.layer, each.at)
