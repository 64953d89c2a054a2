"""Cut programs in RS-274 / ISO 6983: ``read_program`` is the way in."""

from __future__ import annotations

from planning.calc.program.reader import read_program, read_whole
from planning.calc.program.types import (
    Contour,
    Dialect,
    Dwell,
    Moves,
    Note,
    Program,
    ProgramError,
)

__all__ = [
    "Contour",
    "Dialect",
    "Dwell",
    "Moves",
    "Note",
    "Program",
    "ProgramError",
    "read_program",
    "read_whole",
]
