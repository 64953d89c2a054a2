"""The plain reader: every block, every note, every error.

Order within a block is NISTIR 6556 table 8: units, feed, torch, dwell, modes, home, motion, stop.
So a torch code acts before the motion of its own block, and a program ends after it.

Long straight stretches are read by ``stretches``, as arrays; whatever is not plainly straight
comes here, line by line. A program that computes is run by ``computing``.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from typing import Final

from planning.calc.program.block import Block, parse_block
from planning.calc.program.computing import Computer
from planning.calc.program.decimals import decimals_of
from planning.calc.program.flow import computes
from planning.calc.program.interpreter import Interpreter
from planning.calc.program.stretches import Stretches
from planning.calc.program.types import COMMENT_MARKS, Dialect, Program, ProgramError
from planning.calc.program.words import (
    STRAIGHT,
    bare_bytes,
    comments_out,
    without_checksum,
    without_comments,
    words_of,
)
from planning.calc.said import said

# A shorter stretch is read sooner line by line than as arrays.
LEAST_STRETCH: Final = 12
_DRESSED: Final = frozenset("()" + COMMENT_MARKS)


def read_program(text: bytes, dialect: Dialect | None = None) -> Program:
    """Read a program's bytes in ``dialect`` (ISO 6983 with M3/M5 by default).

    Raises ``ProgramError`` with the line (from 1) where it cannot be read or where reading on would
    guess at the path.
    """
    bare = bare_bytes(text)
    stretches = Stretches.of(bare)
    reading = _Reading(dialect or Dialect(), bare)
    if stretches is None:
        lines = bare.decode("latin-1").split("\n")
        return reading.computed(lines) if reading.computes(lines) else reading.lines(lines)
    if reading.computes(map(stretches.line, stretches.odd)):
        return reading.computed(bare.decode("latin-1").split("\n"))
    return reading.stretches(stretches)


def read_whole(
    text: bytes,
    dialect: Dialect | None = None,
    *,
    tell: Callable[[int, int], None] = lambda _done, _of: None,
) -> Program:
    """``read_program`` with its contours found; ``tell`` hears how many of how many are."""
    program = read_program(text, dialect)
    program.find_contours(tell)
    return program


def read_plainly(text: bytes, dialect: Dialect | None = None) -> Program:
    """``read_program`` line by line throughout: slower, the same answer."""
    bare = bare_bytes(text)
    reading, lines = _Reading(dialect or Dialect(), bare), bare.decode("latin-1").split("\n")
    return reading.computed(lines) if reading.computes(lines) else reading.lines(lines)


class _Reading:
    """One program on its way through the interpreter."""

    def __init__(self, dialect: Dialect, bare: bytes) -> None:
        self.machine = Interpreter(dialect)
        self.machine.track.decimals = decimals_of(bare)
        self.marks = dialect.comment_marks
        self.variables = dialect.variables
        self.blocks = 0
        self.fenced = False

    def computes(self, lines: Iterable[str]) -> bool:
        """Whether any of the lines jumps, calls or works something out."""
        lines = list(lines)
        return computes("\n".join(lines)) and any(
            computes(line) and computes(comments_out(line, self.marks)) for line in lines
        )

    def computed(self, lines: list[str]) -> Program:
        bare = [line and self._bare(line, at, strict=False) for at, line in enumerate(lines, 1)]
        computer = Computer(self.machine, bare, variables=self.variables)
        computer.run()
        self.blocks = computer.blocks
        return self._finish(computer.last, [] if computer.called else lines[computer.last :])

    def lines(self, lines: list[str]) -> Program:
        last = next((n for n in range(len(lines), 1, -1) if lines[n - 1]), 1)
        for number, line in enumerate(lines[:last], 1):
            if line and self.step(line, number):
                last = number
                break
        return self._finish(last, lines[last:])

    def stretches(self, text: Stretches) -> Program:
        last, at = text.last_filled, 0
        for odd in [*text.odd, text.count]:
            if odd - at < LEAST_STRETCH:
                steps = range(at, odd)
            else:
                read = self.machine.stretch(text.path(at, odd))
                self.blocks += read[1]
                steps = range(at, odd) if not read[0] else range(0)
            for index in steps:
                if line := text.line(index):
                    self.step(line, index + 1)
            if odd < text.count and self.step(text.line(odd), odd + 1):
                last = odd + 1
                break
            at = odd + 1
        return self._finish(last, text.lines_from(last))

    def step(self, line: str, number: int) -> bool:
        """Read one line that is not empty; True where the program ends with it."""
        machine = self.machine
        simple = STRAIGHT.fullmatch(line)
        if simple is not None and machine.straight(number, simple[1], simple[2], simple[3]):
            self.blocks += 1
            return False
        if line[0] == "%":
            if self.fenced or self.blocks:
                return True
            self.fenced = True
            return False
        block = self._block(line, number)
        if block is not None:
            self.blocks += 1
            machine.run(block, number)
        return machine.ended

    def _finish(self, last: int, rest: list[str]) -> Program:
        if not self.blocks:
            raise ProgramError(1, said("there is no block in it"))
        for number, line in enumerate(rest, last + 1):
            if line and line[0] not in "%(" + self.marks:
                text = said("not read: it comes after the end of the program")
                self.machine.notes.add(number, text)
                break
        return self.machine.finish(self.blocks, last)

    def _bare(self, line: str, number: int, *, strict: bool = True) -> str:
        """A line less comments, checksum and block delete. One whose brackets are not in order is
        refused, or left as it is to be refused once it is run."""
        if not _DRESSED.isdisjoint(line):
            line = (
                without_comments(line, number, self.marks)
                if strict
                else comments_out(line, self.marks)
            )
        if "*" in line:
            shorter = without_checksum(line)
            if shorter != line:
                self.machine.notes.once(number, said("the checksums of its lines are not checked"))
            line = shorter
        if line.startswith("/"):
            text = said("a block with / is read as if block delete were off")
            self.machine.notes.once(number, text)
            line = line[1:]
        return line

    def _block(self, line: str, number: int) -> Block | None:
        """The block on a line, None where it holds only comments."""
        line = self._bare(line, number)
        if line.startswith(":"):
            line = "N" + line[1:]
        return parse_block(words_of(line, number), number) if line else None
