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

# Raised where the same program gives other parts, areas or lengths than before: nests read by an
# older one are read again.
READER_VERSION = 1

__all__ = [
    "READER_VERSION",
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
