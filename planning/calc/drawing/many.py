"""Several drawings read one after the other."""

from __future__ import annotations

from collections.abc import Sequence

from planning.calc.drawing.measure import read_drawing
from planning.calc.drawing.types import Drawing, DrawingError, Reading


def read_drawings(asked: Sequence[tuple[bytes, Reading]]) -> list[Drawing | DrawingError]:
    """Each as it is read, or why it cannot be: what is wrong with one hurts no other."""
    found: list[Drawing | DrawingError] = []
    for raw, reading in asked:
        try:
            found.append(read_drawing(raw, reading))
        except DrawingError as problem:
            found.append(problem)
    return found
