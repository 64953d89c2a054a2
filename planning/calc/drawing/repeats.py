"""Geometry that is drawn twice, in either direction."""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace
from typing import TypeGuard

from planning.calc.drawing.curves import SHARES, Arc, Curve, Point
from planning.calc.drawing.types import Note, Strand
from planning.calc.said import said

SAME_MM = 0.01
_CELL_MM = 0.1


class _Known:
    """Curves kept so far, found again by where their middle lies."""

    def __init__(self) -> None:
        self._cells: dict[tuple[int, int], list[tuple[Curve, Strand]]] = defaultdict(list)

    def add(self, curve: Curve, of: Strand) -> None:
        self._cells[_cell(_key(curve))].append((curve, of))

    def find(self, curve: Curve) -> Strand | None:
        column, row = _cell(_key(curve))
        for near in ((column + i, row + j) for i in (-1, 0, 1) for j in (-1, 0, 1)):
            for known, strand in self._cells.get(near, ()):
                if _same(curve, known):
                    return strand
        return None


def _key(curve: Curve) -> Point:
    """The middle of a curve, the centre of a whole circle or ellipse (wherever it starts)."""
    return curve.centre if _whole(curve) else curve.at(0.5)


def _whole(curve: Curve) -> TypeGuard[Arc]:
    return isinstance(curve, Arc) and abs(abs(curve.sweep) - math.tau) < 1e-9


def _cell(at: Point) -> tuple[int, int]:
    return math.floor(at[0] / _CELL_MM), math.floor(at[1] / _CELL_MM)


def _same(one: Curve, other: Curve) -> bool:
    if abs(one.length_mm - other.length_mm) > 2 * SAME_MM:
        return False
    if _whole(one) or _whole(other):
        boxes = zip(one.box, other.box, strict=True)
        return _whole(one) and _whole(other) and all(abs(a - b) <= SAME_MM for a, b in boxes)
    along = [other.start, *(other.at(share) for share in SHARES), other.end]
    mine = [one.start, *(one.at(share) for share in SHARES), one.end]
    return _near(mine, along) or _near(mine, along[::-1])


def _near(one: Sequence[Point], other: Sequence[Point]) -> bool:
    return all(math.dist(a, b) <= SAME_MM for a, b in zip(one, other, strict=True))


def without_repeats(strands: Iterable[Strand]) -> tuple[list[Strand], list[Note]]:
    """Strands with every curve once, and what was left out. A closed outline goes only as a whole:
    where it shares an edge with another both stay, and the shared edge is told."""
    known, kept, notes = _Known(), [], []
    for strand in sorted(strands, key=lambda each: not each.closed):
        found = [known.find(curve) for curve in strand.curves]
        again = [other for other in found if other is not None]
        if not again:
            kept.append(strand)
        elif len(again) == len(found):
            text = said(
                "{strand} repeats {words}: left out", strand=strand.words, words=again[0].words
            )
            notes.append(Note(text, False, strand.handle, strand.layer, strand.start))
            continue
        elif strand.closed:
            kept.append(strand)
            text = said(
                "{strand} shares an edge with {words}: it would be cut twice",
                strand=strand.words,
                words=again[0].words,
            )
            notes.append(Note(text, True, strand.handle, strand.layer, strand.start))
        else:
            kept += _rest(strand, found)
            text = said(
                "a piece of {strand} repeats {words}: left out",
                strand=strand.words,
                words=again[0].words,
            )
            notes.append(Note(text, False, strand.handle, strand.layer, strand.start))
        for curve, other in zip(strand.curves, found, strict=True):
            if other is None:
                known.add(curve, strand)
    return kept, notes


def _rest(strand: Strand, found: Sequence[Strand | None]) -> Iterator[Strand]:
    """The stretches of an open strand between its repeated curves."""
    stretch: list[Curve] = []
    for curve, other in zip(strand.curves, found, strict=True):
        if other is None:
            stretch.append(curve)
        elif stretch:
            yield replace(strand, curves=tuple(stretch))
            stretch = []
    if stretch:
        yield replace(strand, curves=tuple(stretch))
