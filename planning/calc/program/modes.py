"""Modes that hold from block to block: units, distances, arc centres, feed, path control."""

from __future__ import annotations

import math

from planning.calc.program import arcs, codes
from planning.calc.program.block import Block
from planning.calc.program.notes import NoteBook
from planning.calc.program.track import EXACT_STOP, Track
from planning.calc.program.types import Dialect, ProgramError
from planning.calc.program.zero import SYSTEMS, Zero
from planning.calc.said import said
from planning.calc.units import MM_PER_IN

_UNITS = {20.0: MM_PER_IN, 21.0: 1.0, 70.0: MM_PER_IN, 71.0: 1.0}
_SLOWEST = 1e-6  # a lower F but 0 is a slip; times stay finite above it
_SILENT = frozenset((0.0, 1.0, 2.0, 3.0, 4.0, 10.0, 28.0, 40.0, 53.0, 80.0, 92.0, 92.1, 92.2, 92.3))


class Modes:
    """``scale`` is mm per program unit; ``inverse`` is G93."""

    def __init__(self, dialect: Dialect, track: Track, notes: NoteBook) -> None:
        self._track = track
        self._notes = notes
        self._tolerance_mm = dialect.arc_tolerance_mm
        self._system: float | None = None
        self.zero = Zero()
        self.plane = 17.0
        self.scale = MM_PER_IN if dialect.inch else 1.0
        track.units.append((0, self.scale))
        self.absolute = True
        self.centres_absolute = dialect.arc_centres_absolute
        self.inverse = False

    @property
    def arc_strict_mm(self) -> float:
        """By how much the two radii of an arc may differ before it is said."""
        if self._tolerance_mm is not None:
            return self._tolerance_mm
        return arcs.TOLERANCE_MM if self.scale == 1.0 else arcs.TOLERANCE_IN_MM

    @property
    def arc_tolerance_mm(self) -> float:
        if self._tolerance_mm is not None:
            return self._tolerance_mm
        step = self.scale * 10.0**-self._track.decimals
        return arcs.rounded_tolerance_mm(self.arc_strict_mm, step)

    def apply(self, block: Block, line: int) -> None:
        """Take the modes of a block, its F among them."""
        for code in block.g:
            if code in _UNITS:
                self.scale = _UNITS[code]
                self._track.units.append((len(self._track.x), self.scale))
        for code in block.g:
            if code not in _SILENT:
                self._mode(code, block, line)
        if "F" in block.words:
            self._feed(block.words["F"], line)

    def _mode(self, code: float, block: Block, line: int) -> None:
        if code in (90.0, 91.0):
            self.absolute = code == 90.0
        elif code in (17.0, 18.0, 19.0):
            self.plane = code
        elif code in (90.1, 91.1):
            self.centres_absolute = code == 90.1
        elif code in (93.0, 94.0):
            self._feed_mode(code == 93.0)
        elif code in (61.0, 61.1, 64.0):
            self._path(code, block, line)
        elif code in (41.0, 42.0):
            self._notes.once(line, codes.COMPENSATION_NOTE)
        elif codes.MODAL_GROUP.get(code) == "coordinate system":
            self._coordinates(code, line)
        elif code not in _UNITS:
            self._notes.add(
                line, said("{code_name} is passed over", code_name=codes.code_name("G", code))
            )

    def _feed_mode(self, inverse: bool) -> None:
        if inverse != self.inverse:
            self._track.feeds.append((len(self._track.x), math.nan))
        self.inverse = inverse

    def _feed(self, value: float, line: int) -> None:
        if value < 0 or 0 < value < _SLOWEST or (value == 0 and self.inverse):
            raise ProgramError(line, said("F{value:g} is not a feed rate", value=value))
        if not self.inverse:
            feed = value * self.scale if value else math.nan
            self._track.feeds.append((len(self._track.x), feed))

    def _path(self, code: float, block: Block, line: int) -> None:
        value = EXACT_STOP
        if code == 64.0:
            given = block.words.get("P") if 4.0 not in block.g else None
            value = math.nan if given is None else given * self.scale
            if value < 0:
                raise ProgramError(line, said("G64 with a tolerance below zero"))
        self._track.paths.append((len(self._track.x), value))

    def _coordinates(self, code: float, line: int) -> None:
        number = SYSTEMS[code]
        self.zero.use(number)
        if self._system is not None and code != self._system and not self.zero.given(number):
            self._notes.add(
                line,
                said(
                    "{code_name}: how far the coordinate systems lie apart is not in the "
                    "program; taken as not at all",
                    code_name=codes.code_name("G", code),
                ),
            )
        self._system = code
