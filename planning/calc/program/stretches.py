"""Lines that are plainly straight moves, read as arrays; every other line is named, not read.

Only N, G0, G1, X, Y and F, each once at most and each with one plain number, count as plain.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Final

import numpy as np
import numpy.typing as npt

from planning.calc.program.numerals import numbers_of
from planning.calc.program.types import Bools, Floats, Indices

Bytes = npt.NDArray[np.uint8]

_LEAST_F: Final = 1e-6
_MOST: Final = 1e6
_LETTER, _DIGIT, _DOT, _SIGN, _END, _FOREIGN = 1, 2, 4, 8, 16, 32


def _class(byte: int) -> int:
    if byte in b"\n ":
        return _END
    if byte in b"+-":
        return _SIGN
    return {1: _LETTER, 2: _DIGIT, 4: _DOT}.get(
        chr(byte).isupper() + 2 * (byte in b"0123456789") + 4 * (byte == 46), _FOREIGN
    )


_CLASSES: Final = bytes(map(_class, range(256)))


@dataclass(frozen=True, slots=True)
class StraightPath:
    """Consecutive straight blocks: line indices (from 0) and the value of each word, NaN where a
    block has none. At least one of x and y stands in each."""

    line: Indices
    g: Floats
    x: Floats
    y: Floats
    f: Floats


@dataclass(frozen=True)
class Stretches:
    """A program's bare bytes with its words by line. ``odd`` are the lines (from 0) that are
    neither empty nor plainly straight, in order."""

    text: bytes
    starts: Indices  # of each line in text, and one past the last newline
    g: Floats
    x: Floats
    y: Floats
    f: Floats
    empty: Bools
    odd: list[int]

    @classmethod
    def of(cls, text: bytes) -> Stretches | None:
        """None where hardly any line is plain, or numbers cannot be told apart by their letters."""
        breaks = np.flatnonzero(np.frombuffer(text, np.uint8) == 10)
        starts = np.concatenate(([0], breaks + 1, [len(text) + 1]))
        count = len(starts) - 1
        clean, kind, dressed = _without_dressed(text, starts)
        if dressed.sum() > count / 2:
            return None
        words = _words(clean, kind, starts)
        if words is None:
            return None
        line, letter, value = words
        counted, unfit = np.bincount(line, minlength=count), dressed
        columns = {}
        for name in b"GXYFN":
            own = np.flatnonzero(letter == name)
            column = columns[name] = np.full(count, np.nan)
            if len(own):
                column[line[own]] = value[own]
                counted -= ~np.isnan(column)
                unfit[line[own[np.abs(value[own]) > _MOST]]] = True
        g, x, y, f = (columns[name] for name in b"GXYF")
        unfit |= (counted != 0) | (np.isnan(x) & np.isnan(y)) | (g != 0) & (g != 1) & ~np.isnan(g)
        unfit |= (f < 0) | (f > 0) & (f < _LEAST_F)
        empty = np.diff(starts) == 1
        odd = np.flatnonzero(unfit & ~empty)
        if len(odd) > count / 2:
            return None
        return cls(text, starts, g, x, y, f, empty, odd.tolist())

    @property
    def count(self) -> int:
        return len(self.empty)

    @property
    def last_filled(self) -> int:
        """How many lines there are up to the last that is not empty, 1 at least."""
        filled = np.flatnonzero(~self.empty)
        return int(filled[-1]) + 1 if len(filled) else 1

    def line(self, index: int) -> str:
        return self.text[self.starts[index] : self.starts[index + 1] - 1].decode("latin-1")

    def lines_from(self, index: int) -> list[str]:
        if index >= self.count:
            return []
        return self.text[self.starts[index] :].decode("latin-1").split("\n")

    @cached_property
    def _some_empty(self) -> bool:
        return bool(self.empty.any())

    def path(self, start: int, end: int) -> StraightPath:
        """The straight blocks of lines ``start`` to before ``end``, among which none is odd."""
        own = slice(start, end)
        line = np.arange(start, end)
        if not self._some_empty:
            return StraightPath(line, self.g[own], self.x[own], self.y[own], self.f[own])
        keep = ~self.empty[own]
        return StraightPath(
            line[keep], self.g[own][keep], self.x[own][keep], self.y[own][keep], self.f[own][keep]
        )


def _without_dressed(text: bytes, starts: Indices) -> tuple[bytes, Bytes, Bools]:
    """The text with every line blanked that holds more than words, the class of each of its bytes
    (ends put at both ends), and which lines those are."""
    dressed = np.zeros(len(starts) - 1, np.bool_)
    kinds = text.translate(_CLASSES)
    if _FOREIGN in kinds:
        foreign = np.flatnonzero(np.frombuffer(kinds, np.uint8) == _FOREIGN)
        lines = np.unique(np.searchsorted(starts, foreign, side="right") - 1)
        dressed[lines] = True
        blank = bytearray(text)
        for index in lines.tolist():
            start, end = starts[index], starts[index + 1] - 1
            blank[start:end] = b" " * (end - start)
        text = bytes(blank)
        kinds = text.translate(_CLASSES)
    end = bytes([_END])
    return text, np.frombuffer(end + kinds + end, np.uint8), dressed


def _words(text: bytes, kind: Bytes, starts: Indices) -> tuple[Indices, Bytes, Floats] | None:
    """(line, letter, number) of every word; None unless each letter has one plain number."""
    if _misplaced(kind):
        return None
    marks = np.flatnonzero(kind[1:] & (_LETTER | _DOT | _END))
    mark = kind[1:][marks]
    words = np.flatnonzero(mark == _LETTER)
    at, dotted = marks[words], mark[words + 1] == _DOT
    beyond = words + 1 + dotted
    if (mark[beyond] == _DOT).any():  # a number of two dots
        return None
    stop = marks[beyond]
    signed = kind[at + 2] == _SIGN
    written = np.frombuffer(text, np.uint8)
    minus = signed & (written[at + 1] == 45)
    dot = np.where(dotted, marks[words + 1], stop)
    value = numbers_of(text, at + 1 + signed, dot, stop, minus)
    line = np.repeat(np.arange(len(starts) - 1), np.diff(np.searchsorted(at, starts)))
    return line, written[at], value


def _misplaced(kind: Bytes) -> bool:
    """Whether a byte stands where it cannot in words of one letter and one number: a letter before
    no number, a number or a sign without its letter, a dot without a digit or beside another."""
    left, right = kind[:-1], kind[1:]
    wrong = (left == _LETTER) & (right & (_LETTER | _END) != 0)
    wrong |= (right == _SIGN) & (left != _LETTER)
    wrong |= (left == _SIGN) & (right & (_DIGIT | _DOT) == 0)
    wrong |= (left == _END) & (right & (_DIGIT | _DOT) != 0)
    if wrong.any():
        return True
    dot = kind[1:-1] == _DOT
    alone = dot & (kind[:-2] != _DIGIT) & (kind[2:] != _DIGIT)
    return bool((alone | dot & (kind[2:] == _DOT)).any())
