"""Drawings of parts (DXF): contours by layer with exact lengths and areas.

ezdxf reads the file and is loaded only when one is read.
"""

from planning.calc.drawing.curves import Arc, Bezier, Line
from planning.calc.drawing.measure import UNITS_MM, read_drawing
from planning.calc.drawing.types import (
    GAP_MM,
    ROLES,
    Contour,
    Drawing,
    DrawingError,
    Layer,
    Note,
    NothingUsed,
    Reading,
    Role,
    UnitUnknown,
)

__all__ = [
    "GAP_MM",
    "ROLES",
    "UNITS_MM",
    "Arc",
    "Bezier",
    "Contour",
    "Drawing",
    "DrawingError",
    "Layer",
    "Line",
    "Note",
    "NothingUsed",
    "Reading",
    "Role",
    "UnitUnknown",
    "read_drawing",
]
