"""The plain reader: every block, every note, every error.

Order within a block is NISTIR 6556 table 8: units, feed, torch, dwell, modes, home, motion, stop.
So a torch code acts before the motion of its own block, and a program ends after it.
"""

from __future__ import annotations

from planning.calc.program.block import Block, parse_block
from planning.calc.program.interpreter import Interpreter
from planning.calc.program.types import Dialect, Program, ProgramError
from planning.calc.program.words import STRAIGHT, lines_of, without_comments, words_of


def read_program(text: bytes, dialect: Dialect | None = None) -> Program:
    """Read a program's bytes in ``dialect`` (ISO 6983 with M3/M5 by default).

    Raises ``ProgramError`` with the line (from 1) where it cannot be read or where reading on would
    guess at the path.
    """
    machine = Interpreter(dialect or Dialect())
    lines = lines_of(text)
    last, blocks, fenced = len(lines), 0, False
    for number, line in enumerate(lines, 1):
        if not line:
            continue
        simple = STRAIGHT.fullmatch(line)
        if simple is not None and machine.straight(number, simple[1], simple[2], simple[3]):
            blocks += 1
            continue
        if line[0] == "%":
            if fenced or blocks:
                last = number
                break
            fenced = True
            continue
        block = _block(line, number, machine)
        if block is None:
            continue
        blocks += 1
        machine.run(block, number)
        if machine.ended:
            last = number
            break
    if not blocks:
        raise ProgramError(1, "there is no block in it")
    _rest_of_file(lines, last, machine)
    return machine.finish(blocks, last)


def _block(line: str, number: int, machine: Interpreter) -> Block | None:
    """The block on a line, None where it holds only comments."""
    if "(" in line or ";" in line or ")" in line:
        line = without_comments(line, number)
    if line.startswith("/"):
        machine.notes.once(number, "a block with / is read as if block delete were off")
        line = line[1:]
    if line.startswith(":"):
        line = "N" + line[1:]
    return parse_block(words_of(line, number), number) if line else None


def _rest_of_file(lines: list[str], last: int, machine: Interpreter) -> None:
    for number, line in enumerate(lines[last:], last + 1):
        if line and line[0] not in "%(;":
            machine.notes.add(number, "not read: it stands after the end of the program")
            return
