"""Chains as contours: outer ones, holes and islands, their areas, and what is wrong with them."""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import accumulate

import numpy as np

from planning.calc.drawing.around import parents
from planning.calc.drawing.chains import Chain
from planning.calc.drawing.crossings import crossings
from planning.calc.drawing.curves import CHORD_MM, Bezier, Box, Curve
from planning.calc.drawing.notes import meeting_notes, shape_notes
from planning.calc.drawing.quadrature import Floats
from planning.calc.drawing.types import Contour, Kind, Note, Role


@dataclass
class _Path:
    chain: Chain
    points: Floats
    first: tuple[int, ...]  # index of each curve's first point
    box: Box
    length_mm: float
    signed_mm2: float
    crosses: bool = False
    firm: bool = True
    parent: int | None = None
    depth: int = 0

    @property
    def has_area(self) -> bool:
        return self.firm and not self.crosses

    @property
    def layer(self) -> str:
        return " + ".join(sorted({strand.layer for strand in self.chain.strands}))

    @property
    def order(self) -> tuple[float, ...]:
        """Where it lies, blind to how it was drawn: micrometres, so that rounding does not tell."""
        return tuple(round(value, 3) for value in (self.box[1], self.box[0], -self.signed_mm2))


def contours_of(chains: Sequence[Chain]) -> tuple[tuple[Contour, ...], list[Note], bool]:
    """Contours in an order that could be cut: what is inside first. Outer contours run clockwise
    and holes counter-clockwise (common practice, no source: the squarer edge is on the right).
    Also what is wrong, and whether the net area can be told."""
    paths = [_path(each) for each in chains]
    met, all_met = crossings(
        [path.points for path in paths], [_simple(path.chain) for path in paths]
    )
    for each in met:
        if each.one == each.other and each.through:
            paths[each.one].crosses = True
    if not all_met:  # whether a shape crosses itself is not known, and so is its area
        for path in paths:
            path.firm = path.firm and _simple(path.chain)
    closed = [i for i, path in enumerate(paths) if path.chain.closed]
    inside = parents(
        [paths[i].points for i in closed],
        [paths[i].box for i in closed],
        [abs(paths[i].signed_mm2) for i in closed],
    )
    for i, parent in zip(closed, inside, strict=True):
        paths[i].parent = None if parent is None else closed[parent]
    order, children = _order(paths)
    number = {i: n for n, i in enumerate(order, 1)}
    made = tuple(_cut(paths, i, number, children[i]) for i in order)
    named = {i: made[n - 1] for i, n in number.items()}
    notes = [*meeting_notes(met, all_met, named), *shape_notes(made)]
    sound = all_met and not any(each.through for each in met) and all(e.closed for e in made)
    return made, notes, sound


def loose_contours(chains: Sequence[Chain]) -> tuple[Contour, ...]:
    """Marking: lines as they are, closed or not, numbered by where they lie."""
    paths = sorted((_path(each) for each in chains), key=lambda each: each.order)
    return tuple(
        _contour(path, number, "mark", "outer" if path.chain.closed else "open", None, None)
        for number, path in enumerate(paths, 1)
    )


def _path(chain: Chain) -> _Path:
    curves = chain.curves
    parts = [curve.chords(CHORD_MM)[1:] for curve in curves]
    points = np.concatenate([np.array([curves[0].start]), *parts])
    if chain.closed:
        points[-1] = points[0]
    origin = curves[0].start
    swept = math.fsum(curve.swept_mm2(origin) for curve in curves) if chain.closed else 0.0
    lows_x, lows_y, highs_x, highs_y = zip(*(curve.box for curve in curves), strict=True)
    return _Path(
        chain,
        points,
        tuple(accumulate((len(part) for part in parts[:-1]), initial=0)),
        (min(lows_x), min(lows_y), max(highs_x), max(highs_y)),
        math.fsum(curve.length_mm for curve in curves),
        swept,
    )


def _simple(chain: Chain) -> bool:
    return len(chain.curves) == 1 and not isinstance(chain.curves[0], Bezier)


def _order(paths: Sequence[_Path]) -> tuple[list[int], dict[int | None, list[int]]]:
    """Depth first: islands in holes, holes, then the contour around them; open ones last. Also
    which lie directly in which."""
    children: dict[int | None, list[int]] = defaultdict(list)
    for i in sorted(range(len(paths)), key=lambda each: paths[each].order):
        if paths[i].chain.closed:
            children[paths[i].parent].append(i)
    order: list[int] = []
    stack = [(i, False) for i in reversed(children[None])]
    while stack:
        i, seen = stack.pop()
        if seen:
            order.append(i)
            continue
        stack.append((i, True))
        for child in children[i]:
            paths[child].depth = paths[i].depth + 1
        stack += [(child, False) for child in reversed(children[i])]
    loose = [i for i, path in enumerate(paths) if not path.chain.closed]
    return order + sorted(loose, key=lambda each: paths[each].order), children


def _cut(
    paths: Sequence[_Path], i: int, number: Mapping[int, int], inner: Sequence[int]
) -> Contour:
    path = paths[i]
    kind: Kind = "open"
    if path.chain.closed:
        kind = "hole" if path.depth % 2 else "island" if path.depth else "outer"
    net = None
    if kind in ("outer", "island") and all(paths[k].has_area for k in (i, *inner)):
        net = abs(path.signed_mm2) - math.fsum(abs(paths[k].signed_mm2) for k in inner)
    inside = None if path.parent is None else number[path.parent]
    return _contour(path, number[i], "cut", kind, net, inside)


def _contour(
    path: _Path, number: int, role: Role, kind: Kind, net: float | None, inside: int | None
) -> Contour:
    chain = path.chain
    curves, points = chain.curves, path.points
    if chain.closed and role == "cut":
        curves, points = _turned(path, clockwise=kind != "hole")
    return Contour(
        number=number,
        role=role,
        kind=kind,
        layer=path.layer,
        handles=tuple(dict.fromkeys(strand.handle for strand in chain.strands)),
        curves=curves,
        closed=chain.closed,
        crosses=path.crosses,
        length_mm=path.length_mm,
        area_mm2=abs(path.signed_mm2) if chain.closed and path.has_area else None,
        net_area_mm2=net,
        inside=inside,
        extents_mm=path.box,
        points=points,
    )


def _turned(path: _Path, *, clockwise: bool) -> tuple[tuple[Curve, ...], Floats]:
    """The ring the asked way round, from its lowest corner (the left one of two)."""
    curves, points, first = path.chain.curves, path.points, path.first
    if (path.signed_mm2 < 0) != clockwise:
        curves = tuple(curve.reversed() for curve in reversed(curves))
        points = points[::-1]
        last = len(points) - 1
        first = (0, *(last - at for at in reversed(first[1:])))
    starts = [(round(c.start[1], 3), round(c.start[0], 3)) for c in curves]
    k = starts.index(min(starts))
    turned = np.roll(points[:-1], -first[k], axis=0)
    return curves[k:] + curves[:k], np.concatenate((turned, turned[:1]))
