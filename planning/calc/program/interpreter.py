"""The modal state of a control, moved on block by block."""

from __future__ import annotations

import math

import numpy as np

from planning.calc.program import arcs, codes, nonmodal
from planning.calc.program.block import Block
from planning.calc.program.modes import Modes
from planning.calc.program.notes import NoteBook
from planning.calc.program.stretches import StraightPath
from planning.calc.program.track import Track
from planning.calc.program.types import (
    ARC_CCW,
    ARC_CW,
    RAPID,
    Dialect,
    Floats,
    Program,
    ProgramError,
)
from planning.calc.said import listed, said, told

_OFFSETS = frozenset((92.0, 92.1, 92.2, 92.3))
_MOTION = {0.0: RAPID, 1.0: 1, 2.0: ARC_CW, 3.0: ARC_CCW}


def _held(values: Floats, first: float) -> Floats:
    """Each value, or where there is none (NaN) the one before it."""
    lacking = np.isnan(values)
    if not lacking.any():
        return values
    at = np.arange(1, len(values) + 1)
    at[lacking] = 0
    return np.asarray(np.concatenate(([first], values))[np.maximum.accumulate(at)])


FROM_ZERO = said("With I and J counted from zero they agree: that is a setting of the table")
FROM_START = said(
    "With I and J counted from the arc's start they agree: that is a setting of the table"
)


def _summed(steps: Floats, first: float) -> Floats:
    return np.cumsum(np.concatenate(([first], np.nan_to_num(steps))))[1:]


class Interpreter:
    """Runs blocks in order onto a ``Track``; ``ended`` once the program has ended itself."""

    def __init__(self, dialect: Dialect) -> None:
        self.dialect = dialect
        self.notes = NoteBook()
        self.track = Track()
        self.modes = Modes(dialect, self.track, self.notes)
        self.torch_on, self.torch_off = dialect.on_codes, dialect.off_codes
        self.torch_mark = dialect.mark_codes
        self.motion: int | None = None
        self.x = self.y = 0.0
        self.ended = False
        self._passed: set[str] = set()

    def run(self, block: Block, line: int) -> None:
        words = block.words
        machine_axes = False
        if "F" in words and 4.0 in block.g and words.keys().isdisjoint(nonmodal.TIMES):
            words["S"] = words.pop("F")  # a dwell's time, for want of any other
        if block.g or "F" in words:
            self.modes.apply(block, line)
        if block.m:
            self._torch(block.m, line, "X" in words or "Y" in words)
        if block.g:
            if 4.0 in block.g:
                nonmodal.dwell(self.track, self.dialect, self.notes, words, line)
            if not _OFFSETS.isdisjoint(block.g):
                nonmodal.offset(self.modes, self.notes, (self.x, self.y), block, line)
                return
            if 10.0 in block.g:
                nonmodal.origin(self.modes, self.notes, (self.x, self.y), words, line)
                return
            if 28.0 in block.g:
                self._home(words, line)
                return
            machine_axes = 53.0 in block.g
            self._motion_mode(block, line)
        if "X" in words or "Y" in words or ("I" in words or "J" in words or "R" in words):
            self._move(words, line, machine_axes)
        elif "Z" in words or "A" in words or "B" in words or "C" in words:
            self.track.rest()
        if "A" in words or "B" in words or "C" in words:
            self.notes.once(line, said("A, B and C are passed over: lengths are in X and Y"))
        if block.m:
            self._other_codes(block.m, line)

    def straight(self, line: int, code: str | None, x: str | None, y: str | None) -> bool:
        """Run a block that ``STRAIGHT`` matched; False leaves it to ``run``, which owns errors."""
        motion = self.motion if code is None else int(code)
        if (x is None and y is None) or motion is None or motion > 1 or self.modes.inverse:
            return False
        self.motion = motion
        scale = self.modes.scale
        if self.modes.absolute:
            zero = self.modes.zero
            to_x = self.x if x is None else float(x) * scale + zero.x
            to_y = self.y if y is None else float(y) * scale + zero.y
        else:
            to_x = self.x if x is None else self.x + float(x) * scale
            to_y = self.y if y is None else self.y + float(y) * scale
        self._straight(motion, to_x, to_y, line)
        return True

    def stretch(self, path: StraightPath) -> tuple[bool, int]:
        """Run straight blocks at once: whether it could be done, and how many there were."""
        count = len(path.line)
        if self.modes.inverse or (self.motion not in (0, 1) and count and np.isnan(path.g[0])):
            return False, 0
        if not count:
            return True, 0
        track, scale = self.track, self.modes.scale
        kind = _held(path.g, float(self.motion or 0))
        if self.modes.absolute:
            x, y, zero = path.x * scale, path.y * scale, self.modes.zero
            if zero.x or zero.y:
                x, y = x + zero.x, y + zero.y
            x, y = _held(x, self.x), _held(y, self.y)
        else:
            x, y = _summed(path.x * scale, self.x), _summed(path.y * scale, self.y)
        fed = np.flatnonzero(~np.isnan(path.f))
        if len(fed):
            at = (fed + len(track.x)).tolist()
            track.feeds += [
                (i, value * scale or math.nan)
                for i, value in zip(at, path.f[fed].tolist(), strict=True)
            ]
        track.extend(kind, x, y, path.line + 1)
        self.motion, self.x, self.y = int(kind[-1]), float(x[-1]), float(y[-1])
        return True, count

    def finish(self, blocks: int, last: int) -> Program:
        """The program as read, up to and including line ``last``."""
        burning = self.track.burning
        if burning:
            lit = self.track.on_lines[-1]
            self.notes.add(
                last, said("the torch is left burning at the end (lit on line {lit})", lit=lit)
            )
        if self._passed and not self.track.on and any(self.track.kind):
            lights = " or ".join(f"M{code:g}" for code in sorted(self.torch_on))
            text = said(
                "no {lights} lights the torch; {passed} passed over",
                lights=lights,
                passed=", ".join(sorted(self._passed)),
            )
            self.notes.add(
                last, said("{text}: which code lights it is a setting of the table", text=text)
            )
        return Program(
            self.track.moves(), tuple(self.track.dwells), tuple(self.track.on_lines),
            tuple(self.track.on), self.notes.finish(), blocks, last, burning,
            frozenset(self.track.marks),
        )  # fmt: skip

    def _motion_mode(self, block: Block, line: int) -> None:
        for code in block.g:
            if code in _MOTION:
                self.motion = _MOTION[code]
            elif code == codes.CYCLES_OFF and _MOTION.keys().isdisjoint(block.g):
                self.motion = None
            elif code == 53.0:
                self.notes.once(
                    line, said("G53: the machine's zero is taken to be the program's X0 Y0")
                )

    def _torch(self, m: list[float], line: int, moving: bool) -> None:
        on, off = not self.torch_on.isdisjoint(m), not self.torch_off.isdisjoint(m)
        if on and off:
            raise ProgramError(line, said("the torch is lit and put out in one block"))
        if on and self.track.burning:
            self.notes.add(line, said("the torch is lit while it burns: counted as one arc"))
        elif on:
            self.track.torch_on(line, marks=not self.torch_mark.isdisjoint(m))
        elif off and self.track.burning:
            self.track.torch_off()
            if moving:
                self.notes.once(line, said("the torch goes out before the motion of its own block"))

    def _home(self, words: dict[str, float], line: int) -> None:
        named = [axis for axis in "XYZABC" if axis in words] or ["X", "Y"]
        self.notes.once(line, said("G28: home is taken to be the program's X0 Y0"))
        if "X" in words or "Y" in words:
            self._straight(RAPID, *self._target(words, False), line)
        if "X" in named or "Y" in named:
            self._straight(
                RAPID, 0.0 if "X" in named else self.x, 0.0 if "Y" in named else self.y, line
            )
        self.track.rest()

    def _target(self, words: dict[str, float], machine_axes: bool) -> tuple[float, float]:
        scale = self.modes.scale
        x, y = words.get("X"), words.get("Y")
        if machine_axes:
            return self.x if x is None else x * scale, self.y if y is None else y * scale
        if self.modes.absolute:
            ox, oy = self._placed(0.0, 0.0)
            return self.x if x is None else x * scale + ox, self.y if y is None else y * scale + oy
        return self.x + (x or 0.0) * scale, self.y + (y or 0.0) * scale

    def _move(self, words: dict[str, float], line: int, machine_axes: bool) -> None:
        motion = self.motion
        if motion is None:
            raise ProgramError(line, said("axis words, but no G0, G1, G2 or G3 before them"))
        x, y = self._target(words, machine_axes)
        if self.modes.inverse and motion != RAPID:
            if "F" not in words:
                raise ProgramError(line, said("G93: every move needs its own F"))
            self.track.inverse.append((len(self.track.x), words["F"], 0.1 * self.modes.scale))
        if motion in (ARC_CW, ARC_CCW):
            self._arc(words, x, y, line)
        elif "I" in words or "J" in words or "R" in words:
            raise ProgramError(line, said("I, J or R on a straight move"))
        self._straight(motion, x, y, line)

    def _straight(self, kind: int, x: float, y: float, line: int) -> None:
        track = self.track
        track.kind.append(kind)
        track.x.append(x)
        track.y.append(y)
        track.line.append(line)
        self.x, self.y = x, y

    def _arc(self, words: dict[str, float], x: float, y: float, line: int) -> None:
        if self.modes.plane != 17.0:
            plane = codes.code_name("G", self.modes.plane)
            raise ProgramError(line, said("an arc outside the XY plane ({plane})", plane=plane))
        clockwise = self.motion == ARC_CW
        tolerance = self.modes.arc_tolerance_mm
        if words.get("K", 0.0) != 0.0:
            raise ProgramError(line, said("K on an arc in the XY plane"))
        if words.get("P", 1.0) != 1.0 and "P" in words:
            raise ProgramError(line, said("arcs of several turns (P) are not read"))
        try:
            if "R" in words:
                if "I" in words or "J" in words:
                    raise arcs.ArcError(said("an arc by R and by I or J at once"))
                arc = arcs.from_radius(
                    self.x, self.y, x, y, words["R"] * self.modes.scale,
                    clockwise=clockwise, tolerance_mm=tolerance,
                )  # fmt: skip
            else:
                cx, cy = self._centre(words)
                arc = arcs.from_centre(
                    self.x, self.y, x, y, cx, cy, clockwise=clockwise, tolerance_mm=tolerance
                )
                apart = abs(math.hypot(self.x - cx, self.y - cy) - math.hypot(x - cx, y - cy))
                if apart > self.modes.arc_strict_mm * (1 + 1e-9):
                    self.notes.add(line, arcs.ROUNDED_NOTE)
        except arcs.ArcError as error:
            other = self._centred_otherwise(words, x, y, tolerance)
            raise ProgramError(line, listed([told(error), *other], ". ")) from error
        self.track.arcs.append((len(self.track.x), *arc))

    def _centre(self, words: dict[str, float]) -> tuple[float, float]:
        i, j, scale = words.get("I"), words.get("J"), self.modes.scale
        if i is None and j is None:
            raise arcs.ArcError(said("an arc needs I or J, or R"))
        if self.modes.centres_absolute:
            if i is None or j is None:
                raise arcs.ArcError(said("G90.1: an arc needs both I and J"))
            return self._placed(i * scale, j * scale)
        return self.x + (i or 0.0) * scale, self.y + (j or 0.0) * scale

    def _centred_otherwise(
        self, words: dict[str, float], x: float, y: float, tolerance: float
    ) -> list[str]:
        """What to add where I and J make an arc once they count from the other place."""
        if "R" in words or "I" not in words or "J" not in words:
            return []
        i, j = words["I"] * self.modes.scale, words["J"] * self.modes.scale
        if not self.modes.centres_absolute:
            (cx, cy), advice = self._placed(i, j), FROM_ZERO
        else:
            (cx, cy), advice = (self.x + i, self.y + j), FROM_START
        radii = math.hypot(self.x - cx, self.y - cy), math.hypot(x - cx, y - cy)
        if min(radii) < arcs.COINCIDENT_MM or abs(radii[0] - radii[1]) > tolerance:
            return []
        return [advice]

    def _placed(self, x: float, y: float) -> tuple[float, float]:
        """Where a place in the program's figures lies, in mm."""
        return x + self.modes.zero.x, y + self.modes.zero.y

    def _other_codes(self, m: list[float], line: int) -> None:
        for code in m:
            if code in self.torch_on or code in self.torch_off:
                continue
            name = codes.code_name("M", code)
            if code in codes.PROGRAM_END:
                self.track.rest()
                self.ended = True
            elif code in codes.SUBPROGRAM:
                raise ProgramError(line, said("{name} (subprograms) is not read", name=name))
            elif code in codes.PAUSE:
                self.track.rest()
                self.notes.add(
                    line, said("{name} waits for a person: no time is counted for it", name=name)
                )
            else:
                self._passed.add(name)
                self.notes.add(line, said("{name} is passed over", name=name))
