"""Blocks that move nothing by themselves: dwells and shifts of the program's zero."""

from __future__ import annotations

import math
from typing import Final

from planning.calc.program.arcs import COINCIDENT_MM
from planning.calc.program.block import Block
from planning.calc.program.modes import Modes
from planning.calc.program.notes import NoteBook
from planning.calc.program.track import Track
from planning.calc.program.types import Dialect, ProgramError
from planning.calc.program.zero import SYSTEMS, Place
from planning.calc.said import said

# Words that may carry the time of a G4, the likelier first.
TIMES: Final = ("P", "X", "U", "S")
_LONG_DWELL_S: Final = 60.0


def dwell(
    track: Track, dialect: Dialect, notes: NoteBook, words: dict[str, float], line: int
) -> None:
    """A G4. Where the table's own word is lacking another carries the time: P in the table's unit,
    any other in seconds, as is common."""
    letter: str = dialect.dwell_word
    milli = dialect.dwell_unit == "ms"
    if letter not in words:
        letter = next((other for other in TIMES if other in words), letter)
        milli = milli and letter == "P"
        if letter in words:
            unit = "ms" if milli else "s"
            text = said(
                "G4: its time is taken from {letter}, in {unit}; what carries it is a setting of "
                "the table",
                letter=letter,
                unit=unit,
            )
            notes.once(line, text)
    seconds = words.pop(letter, None)
    if seconds is None:
        raise ProgramError(line, said("G4 without its time in {letter}", letter=letter))
    if seconds < 0:
        raise ProgramError(line, said("G4 with a time below zero"))
    if not milli and seconds >= _LONG_DWELL_S:
        text = said(
            "a dwell of minutes: if its time is in milliseconds, the table's settings say so"
        )
        notes.once(line, text)
    track.dwell(line, seconds / 1000 if milli else seconds)


def offset(modes: Modes, notes: NoteBook, at: Place, block: Block, line: int) -> None:
    """G92 and what ends or takes up its offset; ``at`` is where the torch is in mm."""
    zero = modes.zero
    if 92.1 in block.g or 92.2 in block.g:
        zero.end(forget=92.1 in block.g)
    elif 92.3 in block.g:
        zero.restore()
    else:
        before = zero.x, zero.y
        zero.set_here(at, *_mm(modes, block.words))
        if math.dist(before, (zero.x, zero.y)) <= COINCIDENT_MM:
            notes.add(line, said("G92 gives the place the torch is at: nothing changes"))


def origin(modes: Modes, notes: NoteBook, at: Place, words: dict[str, float], line: int) -> None:
    """G10 L2 gives a coordinate system's origin, L20 gives the present place a value in it."""
    kind, number = words.get("L"), int(words.get("P", 0.0))
    if kind not in (2.0, 20.0):
        notes.add(line, said("G10 is passed over: it sets no coordinate system"))
        return
    if words.get("R", 0.0) != 0.0:
        raise ProgramError(line, said("G10 with R turns the coordinate system, which is not read"))
    if not 0 <= number <= len(SYSTEMS):
        raise ProgramError(
            line,
            said(
                "G10 L{kind:g}: there is no coordinate system P{number}", kind=kind, number=number
            ),
        )
    zero = modes.zero
    x, y = _mm(modes, words)
    if kind == 20.0:
        x, y = zero.origin_for(at, x, y)
    zero.set_origin(number or zero.system, x, y)


def _mm(modes: Modes, words: dict[str, float]) -> tuple[float | None, float | None]:
    x, y = words.get("X"), words.get("Y")
    return None if x is None else x * modes.scale, None if y is None else y * modes.scale
