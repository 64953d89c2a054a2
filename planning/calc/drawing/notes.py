"""What is said of contours that are not as they should be."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence

from planning.calc.drawing.crossings import Crossing
from planning.calc.drawing.types import Contour, Note
from planning.calc.said import plain, said


def shape_notes(made: Sequence[Contour]) -> Iterator[Note]:
    """Open contours with their ends, islands, and more pieces than one."""
    for each in made:
        if not each.closed:
            (ax, ay), (bx, by) = each.start, each.end
            text = said(
                f"contour {each.number} on layer {plain(each.layer)} is open: from X {{0:n.3f}} "
                "Y {1:n.3f} to X {2:n.3f} Y {3:n.3f}, {4:.3f} apart",
                ax,
                ay,
                bx,
                by,
                math.dist(each.start, each.end),
            )
            yield Note(text, True, each.handles[0], each.layer, each.start)
    for each in made:
        if each.kind == "island":
            own = f"contour {each.number} is in a hole: a piece of its own"
            yield Note(own, False, each.handles[0], each.layer, each.start)
    outers = sum(each.kind == "outer" for each in made)
    if outers > 1:
        yield Note(f"{outers} separate pieces are drawn")


def meeting_notes(
    met: Sequence[Crossing], whole: bool, contour: Mapping[int, Contour]
) -> Iterator[Note]:
    """Crossings and touches; ``contour`` names the paths they speak of, ``whole`` says that all
    were looked for."""
    if not whole:
        yield Note("too many lines in one place: not all crossings were looked for", True)
    for each in met:
        one, other = contour[each.one], contour[each.other]
        what = "itself" if one is other else f"contour {other.number}"
        verb = "crosses" if each.through else "touches"
        x, y = each.at
        text = f"contour {one.number} on layer {one.layer} {verb} {what} at X {x:.3f} Y {y:.3f}"
        yield Note(text, True, one.handles[0], one.layer, each.at)
