"""Which contours of a program make one part, and which parts are copies of each other.

Pure: contours in, groups out. Lengths mm, areas mm2. Two parts are copies where their outlines have
one shape, turned, moved or mirrored, with holes in the same places; leads do not count. Open paths
have no shape: they are copies where their lengths agree.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any, Final, Protocol

import numpy as np

from planning.calc.program.leads import loop_span
from planning.calc.program.shapes import Match, Point, compare, shape_of
from planning.calc.program.shapes import Shape as Outline

LENGTH_SLACK_MM: Final = 0.2  # our assumption: above the rounding of a program, below a real change
AREA_SLACK: Final = 1e-3  # of the area


@dataclass(frozen=True, slots=True)
class Shape:
    """A contour as grouping sees it. `outer` is the number of the contour its part is named
    after: its own where it is an outline. `loop` is its path without leads, `leads_mm` what of
    `cut_mm` they are. Without a loop only sizes are compared. `parts` is how many it makes, each
    of that loop and area. Within a part it is a `hole` unless it is open: a slot, a tab's path."""

    number: int
    outer: int
    cut_mm: float
    net_area_mm2: float | None
    loop: Sequence[Point] = ()
    leads_mm: float = 0.0
    parts: int = 1
    hole: bool = True

    @property
    def loop_mm(self) -> float:
        return self.cut_mm - self.leads_mm


@dataclass(frozen=True, slots=True)
class Group:
    """Copies of one part: `parts` has the contour numbers of each copy, its outline first;
    `mirrored` the outlines of those that are the first one turned over."""

    parts: tuple[tuple[int, ...], ...]
    cut_mm: float
    net_area_mm2: float | None
    holes: int
    mirrored: frozenset[int] = frozenset()
    counts: tuple[int, ...] = ()  # parts of each entry of `parts`; empty: one each

    @property
    def copies(self) -> int:
        return sum(self.made)

    @property
    def made(self) -> tuple[int, ...]:
        """How many parts each entry of `parts` stands for."""
        return self.counts or (1,) * len(self.parts)

    @property
    def label(self) -> str:
        """A name that stays while the program stays: the first outline's number."""
        return str(self.parts[0][0])


def groups_of(shapes: Iterable[Shape]) -> list[Group]:
    """Groups in the order their first part is cut."""
    members: dict[int, list[Shape]] = {}
    for shape in sorted(shapes, key=lambda shape: shape.number):
        members.setdefault(shape.outer, []).append(shape)
    kinds: list[_Kind] = []
    for outer, shapes_of in sorted(members.items(), key=lambda entry: entry[0]):
        looks = _looks(outer, shapes_of)
        part = (outer, *(shape.number for shape in shapes_of if shape.number != outer))
        for kind in kinds:
            if match := kind.looks.match(looks):
                kind.parts.append(part)
                kind.counts.append(looks.outline.parts)
                kind.mirrored.update({outer} if match == "mirrored" else ())
                break
        else:
            kinds.append(_Kind(looks, [part], set(), [looks.outline.parts]))
    return [
        Group(
            tuple(kind.parts),
            kind.looks.outline.cut_mm,
            kind.looks.outline.net_area_mm2,
            sum(inner.hole for inner in kind.looks.holes),
            frozenset(kind.mirrored),
            tuple(kind.counts),
        )
        for kind in kinds
    ]


@dataclass(frozen=True)
class _Looks:
    """A part as it is compared: sizes first, since most parts differ by them."""

    outline: Shape
    holes: tuple[Shape, ...]

    def match(self, other: _Looks) -> Match | None:
        if not self._like(other):
            return None
        if self._shape is None or other._shape is None:
            return "same" if self._shape is other._shape else None
        return compare(self._shape, other._shape)

    def _like(self, other: _Looks) -> bool:
        if len(self._sizes) != len(other._sizes):
            return False
        pairs = zip(self._sizes, other._sizes, strict=True)
        if any(abs(mine - theirs) > LENGTH_SLACK_MM for mine, theirs in pairs):
            return False
        area, theirs = self.outline.net_area_mm2, other.outline.net_area_mm2
        if area is None or theirs is None:
            return area is theirs
        return abs(area - theirs) <= AREA_SLACK * area

    @cached_property
    def _sizes(self) -> list[float]:
        return [self.outline.loop_mm, *sorted(hole.loop_mm for hole in self.holes)]

    @cached_property
    def _shape(self) -> Outline | None:
        if not len(self.outline.loop) or self.outline.net_area_mm2 is None:
            return None
        return shape_of(self.outline.loop, [(hole.loop, hole.loop_mm) for hole in self.holes])


@dataclass(frozen=True, slots=True)
class _Kind:
    looks: _Looks
    parts: list[tuple[int, ...]]
    mirrored: set[int]
    counts: list[int]


def _looks(outer: int, shapes: Sequence[Shape]) -> _Looks:
    outline = next((shape for shape in shapes if shape.number == outer), shapes[0])
    return _Looks(outline, tuple(shape for shape in shapes if shape.number != outer))


class Cut(Protocol):
    """A contour, read or stored."""

    @property
    def number(self) -> int: ...
    @property
    def net_area_mm2(self) -> float | None: ...
    @property
    def closed(self) -> bool: ...
    @property
    def lead_in_mm(self) -> float: ...
    @property
    def lead_out_mm(self) -> float: ...
    @property
    def parts(self) -> int: ...


def shape_of_contour(
    contour: Cut, outer: int, cut_mm: float, points: list[Any], faces: Sequence[Any]
) -> Shape:
    """A contour as grouping sees it. Where it makes parts of other rings than its own path, each
    counts by the first of them."""
    area = contour.net_area_mm2
    each = None if area is None else area / contour.parts
    if not faces:
        loop = loop_of(points, contour.lead_in_mm, contour.lead_out_mm)
        leads = contour.lead_in_mm + contour.lead_out_mm
        return Shape(contour.number, outer, cut_mm, each, loop, leads, hole=contour.closed)
    ring = np.asarray(faces[0], np.float64)
    round_mm = float(np.hypot(*np.diff(ring, axis=0).T).sum())
    return Shape(contour.number, outer, round_mm, each, faces[0], 0.0, contour.parts)


def loop_of(points: list[Any], lead_in_mm: float, lead_out_mm: float) -> list[Any]:
    """The points of a contour between its leads."""
    first, last = loop_span(np.asarray(points, np.float64), lead_in_mm, lead_out_mm)
    return points[first : last + 1]
