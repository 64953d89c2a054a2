"""From bytes to lines, from a line to its words."""

from __future__ import annotations

import functools
import re

from planning.calc.program.types import ProgramError
from planning.calc.said import said

Word = tuple[str, str]

_WORD = re.compile(r"([A-Z])([+-]?(?:[0-9]+\.?[0-9]*|\.[0-9]+))")
# The bulk of any program: a straight move by X and Y, its G0 or G1 perhaps left out.
_NUMBER = r"[+-]?(?:[0-9]+\.?[0-9]*|\.[0-9]+)"
STRAIGHT = re.compile(rf"(?:N[0-9]+)?(?:G0?([01]))?(?:X({_NUMBER}))?(?:Y({_NUMBER}))?")
_CHECKSUM = re.compile(r"\*[0-9]{1,3}$")
_UPPER = bytes(range(256)).upper()
_BLANKS = b" \t\x0b\x0c\x00\x1a"


def bare_bytes(text: bytes) -> bytes:
    """The program upper-case and without blanks: RS-274 is case-blind and ignores spaces, even
    inside a number (NISTIR 6556, 3.3). Any line ending is taken; lines end in a newline."""
    if text.startswith((b"\xff\xfe", b"\xfe\xff")):
        raise ProgramError(1, said("saved as UTF-16; save it as plain text"))
    text = text.removeprefix(b"\xef\xbb\xbf").translate(_UPPER, _BLANKS)
    if b"\r" in text:
        text = text.replace(b"\r\n", b"\n").replace(b"\r", b"\n")
    return text


@functools.cache
def _comment(marks: str) -> re.Pattern[str]:
    tail = rf"|[{re.escape(marks)}].*$" if marks else ""
    return re.compile(rf"\([^()]*\){tail}")


def without_comments(line: str, number: int, marks: str = ";") -> str:
    """The line less its ( ) comments and what follows one of ``marks``. Raises on a parenthesis
    that has no partner."""
    kept = _comment(marks).sub("", line)
    return _without_nested(line, number, marks) if "(" in kept or ")" in kept else kept


def _without_nested(line: str, number: int, marks: str) -> str:
    kept, depth = [], 0
    for letter in line:
        if letter == "(":
            depth += 1
        elif letter == ")":
            depth -= 1
            if depth < 0:
                raise ProgramError(number, said("a ) closes no comment"))
        elif not depth:
            if letter in marks:
                break
            kept.append(letter)
    if depth:
        raise ProgramError(number, said("a comment is opened with ( and not closed"))
    return "".join(kept)


def comments_out(line: str, marks: str = ";") -> str:
    """``without_comments``, or the line as it is where its brackets are not in order."""
    try:
        return without_comments(line, 0, marks)
    except ProgramError:
        return line


def without_checksum(line: str) -> str:
    """The line less the ``*nn`` at its end that a sender adds; inside brackets, and where something
    is set, ``*`` multiplies."""
    return line if "=" in line else _CHECKSUM.sub("", line)


def words_of(line: str, number: int) -> list[Word]:
    """The (letter, number text) pairs of a line that has no comments left in it."""
    words: list[Word] = _WORD.findall(line)
    if sum(map(len, map("".join, words))) != len(line):
        raise ProgramError(number, _what_is_wrong(line))
    return words


def _what_is_wrong(line: str) -> str:
    at = 0
    while match := _WORD.match(line, at):
        at = match.end()
    rest = line[at:]
    if not {"#", "[", "="}.isdisjoint(rest[:2]):
        return said(
            "variables and expressions are not read: the table's settings say so: {rest}",
            rest=_short(rest),
        )
    if rest[0].isascii() and rest[0].isalpha():
        return said("no number after {rest}: {rest2}", rest=rest[0], rest2=_short(rest))
    return said("not a word of RS-274: {rest}", rest=_short(rest))


def _short(text: str) -> str:
    shown = "".join(c if c.isprintable() else "?" for c in text[:24])
    return shown + ("..." if len(text) > 24 else "")
