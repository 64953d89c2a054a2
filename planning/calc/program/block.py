"""One block: its G codes, its M codes, its other words."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from planning.calc.program.codes import (
    CYCLES_OFF,
    MODAL_GROUP,
    PATH_CHANGING,
    PATH_WORDS,
    REFUSED_LETTERS,
    code_name,
)
from planning.calc.program.types import ProgramError
from planning.calc.said import said

# No table is so long, no feed so high and no dwell so long; times stay finite below it.
MOST: Final = 1e9


@dataclass(slots=True)
class Block:
    g: list[float]
    m: list[float]
    words: dict[str, float]


def parse_block(pairs: Sequence[tuple[str, str | float]], line: int) -> Block:
    """Sort a block's words. Raises ``ProgramError`` for a word given twice, one never read and one
    with a number above ``MOST``."""
    g: list[float] = []
    m: list[float] = []
    words: dict[str, float] = {}
    for letter, digits in pairs:
        if letter == "G":
            g.append(number_within(letter, digits, line))
        elif letter == "M":
            m.append(number_within(letter, digits, line))
        elif letter in words:
            raise ProgramError(line, said("{letter} is given twice in one block", letter=letter))
        else:
            words[letter] = number_within(letter, digits, line)
    block = Block(g, m, words)
    if not words.keys().isdisjoint(REFUSED_LETTERS):
        letter = next(x for x in words if x in REFUSED_LETTERS)
        if letter != "U" or 4.0 not in g:  # there it is a dwell's time
            raise ProgramError(line, REFUSED_LETTERS[letter])
    if g:
        check_codes(block, line)
    return block


def number_within(letter: str, digits: str | float, line: int) -> float:
    """The number of a word. Raises ``ProgramError`` above ``MOST``."""
    value = float(digits)
    if abs(value) > MOST:
        raise ProgramError(
            line, said("{letter} with a number above {most:.0e}", letter=letter, most=MOST)
        )
    return value


def check_codes(block: Block, line: int) -> None:
    """Raises ``ProgramError`` for two codes of one modal group and for codes that change the path
    in a way that is not followed, the unknown ones with axis words among them. G80 beside a motion
    code is let pass, against the letter of NISTIR 6556: programs in circulation begin so, and it
    ends cycles, of which none is read."""
    seen: dict[str, float] = {}
    for code in block.g:
        name = code_name("G", code)
        if code in PATH_CHANGING:
            raise ProgramError(
                line, said("{name} ({code}) is not read", name=name, code=PATH_CHANGING[code])
            )
        group = MODAL_GROUP.get(code)
        if group is None:
            if not block.words.keys().isdisjoint(PATH_WORDS):
                raise ProgramError(
                    line, said("{name} is not known and may change the path", name=name)
                )
            continue
        if group in seen and group != "non-modal" and CYCLES_OFF not in (code, seen[group]):
            other = code_name("G", seen[group])
            raise ProgramError(
                line, said("{other} and {name} cannot be in one block", other=other, name=name)
            )
        seen[group] = code
