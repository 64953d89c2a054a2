"""Which contours of a program make one part, and which parts are copies of each other.

Pure: contours in, groups out. Lengths mm, areas mm2. Two parts are taken for copies where outline,
net area and holes agree in size; a mirrored part looks the same and has to be told apart by hand.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Final

LENGTH_SLACK_MM: Final = 0.2  # our assumption: above the rounding of a program, below a real change
AREA_SLACK: Final = 1e-3  # of the area


@dataclass(frozen=True, slots=True)
class Shape:
    """A contour as grouping sees it. `outer` is the number of the contour its part is named
    after: its own where it is an outline."""

    number: int
    outer: int
    cut_mm: float
    net_area_mm2: float | None


@dataclass(frozen=True, slots=True)
class Group:
    """Copies of one part: `parts` has the contour numbers of each copy, its outline first."""

    parts: tuple[tuple[int, ...], ...]
    cut_mm: float
    net_area_mm2: float | None
    holes: int

    @property
    def label(self) -> str:
        """A name that stays while the program stays: the first outline's number."""
        return str(self.parts[0][0])


def outlines(inside: Sequence[int | None]) -> list[int]:
    """For each contour (numbered from 1; `inside` the contour directly around it, or None) the
    outline its part is named after. Counted inwards, every second ring is a hole: what lies in a
    hole is a part of its own again."""
    found = []
    for index, _ in enumerate(inside):
        chain = [index + 1]
        while (around := inside[chain[-1] - 1]) is not None and around not in chain:
            chain.append(around)
        depth = len(chain) - 1
        found.append(chain[1] if depth % 2 else chain[0])
    return found


def groups_of(shapes: Iterable[Shape]) -> list[Group]:
    """Groups in the order their first part is cut."""
    members: dict[int, list[Shape]] = {}
    for shape in sorted(shapes, key=lambda shape: shape.number):
        members.setdefault(shape.outer, []).append(shape)
    kinds: list[tuple[_Size, list[tuple[int, ...]]]] = []
    ordered = sorted(members.items(), key=lambda entry: entry[0])
    for outer, shapes_of in ordered:
        size = _size(outer, shapes_of)
        part = (outer, *(shape.number for shape in shapes_of if shape.number != outer))
        for known, parts in kinds:
            if known.like(size):
                parts.append(part)
                break
        else:
            kinds.append((size, [part]))
    return [
        Group(tuple(parts), size.cut_mm, size.net_area_mm2, len(size.holes_mm))
        for size, parts in kinds
    ]


@dataclass(frozen=True, slots=True)
class _Size:
    cut_mm: float
    net_area_mm2: float | None
    holes_mm: tuple[float, ...]

    def like(self, other: _Size) -> bool:
        if len(self.holes_mm) != len(other.holes_mm):
            return False
        lengths = zip((self.cut_mm, *self.holes_mm), (other.cut_mm, *other.holes_mm), strict=True)
        if any(abs(mine - theirs) > LENGTH_SLACK_MM for mine, theirs in lengths):
            return False
        if self.net_area_mm2 is None or other.net_area_mm2 is None:
            return self.net_area_mm2 is other.net_area_mm2
        return abs(self.net_area_mm2 - other.net_area_mm2) <= AREA_SLACK * self.net_area_mm2


def _size(outer: int, shapes: Sequence[Shape]) -> _Size:
    outline = next((shape for shape in shapes if shape.number == outer), shapes[0])
    holes = sorted(shape.cut_mm for shape in shapes if shape.number != outer)
    return _Size(outline.cut_mm, outline.net_area_mm2, tuple(holes))
