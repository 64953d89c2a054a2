"""One block: its G codes, its M codes, its other words."""

from __future__ import annotations

from dataclasses import dataclass

from planning.calc.program.codes import (
    MODAL_GROUP,
    PATH_CHANGING,
    PATH_WORDS,
    REFUSED_LETTERS,
    code_name,
)
from planning.calc.program.types import ProgramError
from planning.calc.program.words import Word


@dataclass(slots=True)
class Block:
    g: list[float]
    m: list[float]
    words: dict[str, float]


def parse_block(pairs: list[Word], line: int) -> Block:
    """Sort a block's words. Raises ``ProgramError`` for a word given twice or one never read."""
    g: list[float] = []
    m: list[float] = []
    words: dict[str, float] = {}
    for letter, digits in pairs:
        if letter == "G":
            g.append(float(digits))
        elif letter == "M":
            m.append(float(digits))
        elif letter in words:
            raise ProgramError(line, f"{letter} is given twice in one block")
        else:
            words[letter] = float(digits)
    block = Block(g, m, words)
    if not words.keys().isdisjoint(REFUSED_LETTERS):
        letter = next(x for x in words if x in REFUSED_LETTERS)
        raise ProgramError(line, REFUSED_LETTERS[letter])
    if g:
        check_codes(block, line)
    return block


def check_codes(block: Block, line: int) -> None:
    """Raises ``ProgramError`` for two codes of one modal group and for codes that change the path
    in a way that is not followed, the unknown ones with axis words among them."""
    seen: dict[str, float] = {}
    for code in block.g:
        name = code_name("G", code)
        if code in PATH_CHANGING:
            raise ProgramError(line, f"{name} ({PATH_CHANGING[code]}) is not read")
        group = MODAL_GROUP.get(code)
        if group is None:
            if not block.words.keys().isdisjoint(PATH_WORDS):
                raise ProgramError(line, f"{name} is not known and may change the path")
            continue
        if group in seen and group != "non-modal":
            other = code_name("G", seen[group])
            raise ProgramError(line, f"{other} and {name} cannot stand in one block")
        seen[group] = code
