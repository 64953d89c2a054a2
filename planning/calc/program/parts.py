"""Which contours make one part and which make several: tabs, and edges cut for many parts at once.

A contour that encloses something by itself is one part. Open paths are joined across tabs first;
what is left open and touches others divides them, or encloses something together with them. Every
such area is a part. Each is named after a contour on its edge that names no other, so that
an outline with three cuts across it is four parts of four contours; what is left over goes to the
last cut of its edge, which then makes several.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any, Final

import numpy as np
import shapely

from planning.calc.program.common import ON_EDGE_MM, loop_points
from planning.calc.program.crossings import Path
from planning.calc.program.faces import faces_of, ring_of, touching
from planning.calc.program.tabs import joined
from planning.calc.program.types import Contour, Floats

# A face outside every outline is a part if one open path alone closes it, over this share of its
# edge: two cuts from part to part through the scrap enclose scrap.
_CLOSED_BY: Final = 0.25
_LEAST_EDGE_MM: Final = 1.0


def with_parts(contours: Sequence[Contour], paths: Mapping[int, Path]) -> list[Contour]:
    """``contours`` with ``outer``, ``parts``, ``faces``, ``edges`` and areas where several work
    together. ``paths`` has the paths of those that are open, by index."""
    found = [replace(contour, outer=contour.number) for contour in contours]
    _join(found, {i: path for i, path in paths.items() if found[i].area_mm2 is None})
    for group in _clusters(found):
        _divide(found, group)
    return found


def undecided(contour: Contour) -> bool:
    """Whether a contour is open and so far belongs to nothing."""
    return (
        not contour.closed
        and contour.area_mm2 is None
        and not contour.marks
        and contour.outer == contour.number
        and len(contour.points) > 1
        and contour.length_mm > 0
    )


def _join(contours: list[Contour], paths: Mapping[int, Path]) -> None:
    for outline in joined(paths):
        first, *rest = sorted(outline.members)
        home = contours[first]
        contours[first] = replace(
            home, area_mm2=abs(outline.area_mm2), clockwise=outline.area_mm2 < 0,
            faces=(outline.ring,), edges=tuple(contours[i].number for i in rest),
        )  # fmt: skip
        for i in rest:
            contours[i] = replace(contours[i], outer=home.number)


def _clusters(contours: Sequence[Contour]) -> list[list[int]]:
    """Indices of contours that touch one another, where one of them is open."""
    open_ = [i for i, contour in enumerate(contours) if undecided(contour)]
    if not open_:
        return []
    usable = [i for i, contour in enumerate(contours) if _lines(contour)]
    lines = [line for i in usable for line in _lines(contours[i])]
    owner = [i for i in usable for _ in _lines(contours[i])]
    near: dict[int, set[int]] = defaultdict(set)
    for one, other in zip(*touching(lines), strict=True):
        near[owner[one]].add(owner[other])
    groups, seen = [], set[int]()
    for start in open_:
        if start in seen or not near[start]:
            continue
        group, ahead = {start}, [start]
        while ahead:
            ahead = [k for i in ahead for k in near[i] if k not in group]
            group.update(ahead)
        seen |= group
        groups.append(sorted(group))
    return groups


def _lines(contour: Contour) -> list[Floats]:
    """What of a contour may be the edge of a part: its loops, or all of an open path."""
    if contour.marks:
        return []
    if contour.faces:
        return list(contour.faces)
    if contour.closed:
        loop = loop_points(contour)
        return [loop] if len(loop) > 1 else []
    return [contour.points] if len(contour.points) > 1 else []


def _divide(contours: list[Contour], group: list[int]) -> None:
    lines = [(i, line) for i in group for line in _lines(contours[i])]
    faces = _parts_among(faces_of([line for _, line in lines]), contours, group)
    faces, edges = _edged(faces, lines, contours)
    if len(faces) <= sum(contours[i].parts for i in group if contours[i].area_mm2 is not None):
        return  # nothing is divided
    homes = _homes(edges)
    owner = {i: i if i in homes else _beside(i, homes, edges) for i in group}
    shares = _shares(contours, faces, homes, owner)
    for i in group:
        own = [k for k, home in enumerate(homes) if home == i]
        others = {k for face in own for k in edges[face]} - {i}
        contours[i] = replace(
            contours[i],
            outer=contours[owner[i]].number,
            parts=max(1, len(own)),
            area_mm2=float(sum(faces[k].area for k in own)) if own else None,
            clockwise=None,
            faces=tuple(ring_of(faces[k]) for k in own),
            edges=tuple(sorted(contours[k].number for k in others)),
            common_with=None,
            common_mm=0.0,
            share=shares.get(i, 1.0),
        )


def _beside(index: int, homes: Sequence[int], edges: Sequence[Mapping[int, float]]) -> int:
    """The home of the first part that a contour is an edge of; itself where it is of none."""
    return next((home for home, edge in zip(homes, edges, strict=True) if index in edge), index)


def _parts_among(faces: list[Any], contours: Sequence[Contour], group: list[int]) -> list[Any]:
    """Faces that are parts, and no scrap between them."""
    outlines: list[Any] = [
        shapely.polygons(line)
        for i in group if contours[i].area_mm2 is not None
        for line in _lines(contours[i]) if len(line) > 3
    ]  # fmt: skip
    if not outlines:
        return faces
    open_: list[Any] = [
        shapely.linestrings(contours[i].points) for i in group if undecided(contours[i])
    ]
    kept = []
    for face in faces:
        spot = shapely.point_on_surface(face)
        if shapely.contains(outlines, spot).any():
            kept.append(face)
            continue
        near = shapely.buffer(face, ON_EDGE_MM)
        along = shapely.length(shapely.intersection(open_, near))
        closing = along[along > _LEAST_EDGE_MM]
        if len(closing) == 1 and closing[0] >= _CLOSED_BY * face.length:
            kept.append(face)
    return kept


def _edged(
    faces: list[Any], lines: Sequence[tuple[int, Floats]], contours: Sequence[Contour]
) -> tuple[list[Any], list[dict[int, float]]]:
    """The faces that are cut out, each with how much of its edge each contour cuts, by index. Of
    faces that one contour alone cuts only its parts count, the largest: no loops at its corners."""
    drawn = np.array([shapely.linestrings(line) for _, line in lines], dtype=object)
    tree = shapely.STRtree(drawn)
    alone: dict[int, int] = defaultdict(int)
    kept: list[tuple[Any, dict[int, float]]] = []
    for face in sorted(faces, key=lambda face: -face.area):
        edge = shapely.buffer(shapely.get_exterior_ring(face), ON_EDGE_MM, cap_style="flat")
        found: dict[int, float] = defaultdict(float)
        for at in sorted(tree.query(edge, "intersects").tolist()):
            found[lines[at][0]] += float(shapely.intersection(drawn[at], edge).length)
        by = {i: length for i, length in found.items() if length > _LEAST_EDGE_MM}
        if len(by) == 1:
            (only,) = by
            alone[only] += 1
            if alone[only] > contours[only].parts:
                continue
        if by:
            kept.append((face, by))
    return [face for face, _ in kept], [by for _, by in kept]


def _homes(edges: Sequence[Mapping[int, float]]) -> list[int]:
    """For each face the contour it is named after: each its own where that can be, else the last
    of its edge."""
    named: dict[int, int] = {}

    def place(face: int, tried: set[int]) -> bool:
        for contour in sorted(edges[face], reverse=True):
            if contour in tried:
                continue
            tried.add(contour)
            if contour not in named or place(named[contour], tried):
                named[contour] = face
                return True
        return False

    for face in range(len(edges)):
        place(face, set())
    home = {face: contour for contour, face in named.items()}
    return [home.get(face, max(edge)) for face, edge in enumerate(edges)]


def _shares(
    contours: Sequence[Contour], faces: Sequence[Any], homes: Sequence[int],
    owner: Mapping[int, int],
) -> dict[int, float]:  # fmt: skip
    """What of its own arc each contour carries: a part carries half of each common edge, and all
    arcs together stay what they are."""
    carried: dict[int, float] = defaultdict(float)
    for face, home in zip(faces, homes, strict=True):
        carried[home] += float(face.length)
    edges = shapely.boundary(faces)
    for one, other in zip(*shapely.STRtree(faces).query(faces, "intersects"), strict=True):
        if one != other:
            both = shapely.intersection(edges[one], edges[other])
            carried[homes[one]] -= float(both.length) / 2
    cut: dict[int, float] = defaultdict(float)
    for i, home in owner.items():
        if home in carried:
            cut[home] += contours[i].length_mm
    scale = sum(cut.values()) / sum(carried.values())
    return {i: carried[home] * scale / cut[home] for i, home in owner.items() if home in carried}
