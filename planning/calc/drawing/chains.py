"""Strands that meet end to end, as chains; small gaps joined and told."""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace

from planning.calc.drawing.curves import Curve, Line, Point
from planning.calc.drawing.types import Note, Strand
from planning.calc.said import said

MEET_MM = 1e-4  # ends nearer than this are one point: what writing decimals does to them


@dataclass(frozen=True, slots=True)
class Chain:
    """Curves one after another, with the strands they come from."""

    strands: tuple[Strand, ...]
    curves: tuple[Curve, ...]
    closed: bool


@dataclass
class _Ends:
    """Ends of strands gathered into nodes. End 2i is the start of strand i, 2i + 1 its end."""

    places: list[Point]
    node: list[int]
    at: dict[int, list[int]] = field(default_factory=dict)

    def meeting(self, end: int) -> list[int]:
        return self.at[self.node[end]]


def chains_of(strands: Sequence[Strand], gap_mm: float) -> tuple[list[Chain], list[Note]]:
    """All strands as chains. Two ends that meet go on into each other; where three or more meet,
    strands that come back to the same point are closed first, then what is left stays open there
    and is told: which way it goes on would be a guess."""
    closed = [Chain((each,), each.curves, True) for each in strands if each.closed]
    loose = [each for each in strands if not each.closed]
    ends = _gather([place for each in loose for place in (each.start, each.end)])
    notes = _join_gaps(loose, ends, gap_mm)
    mate = _mates(ends)
    made = list(_walk(loose, ends, mate))
    made, more = _close_at_branches(made)
    return closed + made, notes + more


def _gather(places: list[Point]) -> _Ends:
    """Ends within ``MEET_MM`` of each other as one node."""
    cells: dict[tuple[int, int], list[int]] = defaultdict(list)
    node = list(range(len(places)))
    for i, (x, y) in enumerate(places):
        column, row = math.floor(x / MEET_MM), math.floor(y / MEET_MM)
        for near in ((column + a, row + b) for a in (-1, 0, 1) for b in (-1, 0, 1)):
            hit = next((j for j in cells.get(near, ()) if math.dist(places[j], (x, y)) <= MEET_MM),
                       None)  # fmt: skip
            if hit is not None:
                node[i] = node[hit]
                break
        cells[column, row].append(i)
    ends = _Ends(places, node)
    for i, at in enumerate(node):
        ends.at.setdefault(at, []).append(i)
    return ends


def _join_gaps(strands: Sequence[Strand], ends: _Ends, gap_mm: float) -> list[Note]:
    """Lone ends within the gap become one node, the nearest first."""
    lone = [members[0] for members in ends.at.values() if len(members) == 1]
    cell = max(gap_mm, MEET_MM)
    cells: dict[tuple[int, int], list[int]] = defaultdict(list)
    pairs: list[tuple[float, int, int]] = []
    for i in lone:
        x, y = ends.places[i]
        column, row = math.floor(x / cell), math.floor(y / cell)
        for near in ((column + a, row + b) for a in (-1, 0, 1) for b in (-1, 0, 1)):
            pairs += [(math.dist(ends.places[j], (x, y)), j, i) for j in cells.get(near, ())]
        cells[column, row].append(i)
    notes = []
    for gap, i, j in sorted(pairs):
        lone_yet = len(ends.meeting(i)) == len(ends.meeting(j)) == 1
        folds = i // 2 == j // 2 and _length(strands[i // 2]) <= 2 * gap_mm
        if gap > gap_mm or not lone_yet or folds:
            continue
        ends.at[ends.node[i]].append(j)
        del ends.at[ends.node[j]]
        ends.node[j] = ends.node[i]
        one, other = strands[i // 2], strands[j // 2]
        between = said("{words} and {other}", words=one.words, other=other.words)
        text = said("a gap of {0:.3g} between {between}: joined", gap, between=between)
        notes.append(Note(text, False, one.handle, one.layer, ends.places[i]))
    return notes


def _length(strand: Strand) -> float:
    return math.fsum(curve.length_mm for curve in strand.curves)


def _mates(ends: _Ends) -> dict[int, int]:
    """The end each end goes on into, where just two meet."""
    return {
        one: other
        for members in ends.at.values()
        if len(members) == 2
        for one, other in (members, members[::-1])
    }


def _walk(strands: Sequence[Strand], ends: _Ends, mate: dict[int, int]) -> Iterator[Chain]:
    """Chains from their free ends first, then the rings that are left."""
    done = [False] * len(strands)
    free = [end for end in range(2 * len(strands)) if end not in mate]
    for first in [*free, *range(0, 2 * len(strands), 2)]:
        if done[first // 2]:
            continue
        run: list[tuple[Strand, bool]] = []
        at: int | None = first
        while at is not None and not done[at // 2]:
            done[at // 2] = True
            run.append((strands[at // 2], bool(at % 2)))
            at = mate.get(at ^ 1)
        yield _chain(run, at == first)


def _chain(run: Sequence[tuple[Strand, bool]], ring: bool) -> Chain:
    """The curves in order, a short line across each joined gap."""
    curves: list[Curve] = []
    for strand, backward in run:
        own = strand.curves
        if backward:
            own = tuple(curve.reversed() for curve in reversed(own))
        if curves and math.dist(curves[-1].end, own[0].start) > MEET_MM:
            curves.append(Line(curves[-1].end, own[0].start))
        curves += own
    if ring and math.dist(curves[-1].end, curves[0].start) > MEET_MM:
        curves.append(Line(curves[-1].end, curves[0].start))
    return Chain(tuple(strand for strand, _ in run), tuple(curves), ring)


def _close_at_branches(chains: list[Chain]) -> tuple[list[Chain], list[Note]]:
    """Chains that return to where they began are rings; taking them out may leave two ends that
    now meet alone, which are joined in turn."""
    rings = [each for each in chains if each.closed]
    rest = [each for each in chains if not each.closed]
    while True:
        again = [each for each in rest if _returns(each)]
        rings += [replace(each, closed=True) for each in again]
        rest = [each for each in rest if not _returns(each)]
        whole = [
            Strand(each.strands[0].handle, each.strands[0].kind, each.strands[0].layer, each.curves)
            for each in rest
        ]
        ends = _gather([place for each in whole for place in (each.start, each.end)])
        mate = _mates(ends)
        if not mate or not again:
            return rings + rest, _branches(whole, ends)
        origin = {id(strand): chain.strands for strand, chain in zip(whole, rest, strict=True)}
        rest = [
            replace(each, strands=tuple(s for part in each.strands for s in origin[id(part)]))
            for each in _walk(whole, ends, mate)
        ]
        rings += [each for each in rest if each.closed]
        rest = [each for each in rest if not each.closed]


def _returns(chain: Chain) -> bool:
    return math.dist(chain.curves[0].start, chain.curves[-1].end) <= MEET_MM


def _branches(strands: Sequence[Strand], ends: _Ends) -> list[Note]:
    notes = []
    for members in ends.at.values():
        if len(members) > 2:
            x, y = ends.places[members[0]]
            one = strands[members[0] // 2]
            text = said(
                "{count} lines meet at X {x:.3f} Y {y:.3f}: where each goes on is unsaid",
                count=len(members),
                x=x,
                y=y,
            )
            notes.append(Note(text, True, one.handle, one.layer, (x, y)))
    return notes
