"""The areas that lines enclose together: parts chained in one torch-on path, an outline divided by
cuts, grids of common edges.

Lines are noded where they meet, ends beside a line (``ON_EDGE_MM``) joined to it first, and every
area between them is a face. Faces as narrow as that are none. Faces are drawn in chords, so that
their areas are the true ones to a thousandth or so.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, Final

import numpy as np
import shapely

from planning.calc.program.common import ON_EDGE_MM
from planning.calc.program.types import Floats, Indices

# Of the largest face; below, it is a loop at a corner. As in ``crossings``.
LEAST_SHARE: Final = 0.2
_NARROW_MM: Final = 0.15
_SPIKE_MM: Final = 1e-3
# Without a grid, noding misses some meetings of lines that cross by so little.
_GRID_MM: Final = 1e-5
# Lines that meet more often are a scribble.
_MOST_MEETINGS: Final = 2_000
_MEETINGS_EACH: Final = 4


def faces_of(lines: Sequence[Floats]) -> list[Any]:
    """The areas that ``lines``, (n, 2) arrays, enclose, as shapely polygons in no order; none where
    they cross too often. A hole of another line within a face is not taken off it."""
    drawn = [np.asarray(line, np.float64) for line in lines if len(line) > 1]
    if not drawn or _scribbled(drawn):
        return []
    made: list[Any] = [shapely.linestrings(line) for line in drawn]
    made += _joints(drawn)
    noded = shapely.unary_union(made, grid_size=_GRID_MM)
    rings = shapely.get_parts(shapely.polygonize([noded]))
    whole = [shapely.polygons(shapely.get_exterior_ring(ring)) for ring in rings]
    return [face for face in whole if face.area > _NARROW_MM * face.length / 2]


def chained(points: Floats) -> list[Any] | None:
    """The faces of one torch-on path that makes several parts; None where it makes one, or crosses
    itself so that nobody can say."""
    faces = faces_of([points])
    if len(faces) < 2:
        return None
    largest = max(face.area for face in faces)
    parts = [face for face in faces if face.area >= LEAST_SHARE * largest]
    if len(parts) < 2:
        return None
    turns = [_turn(face, points) for face in parts]
    left = [face for face, turn in zip(parts, turns, strict=True) if turn > 0]
    right = [face for face, turn in zip(parts, turns, strict=True) if turn < 0]
    eight = any(shapely.distance(one, other) <= ON_EDGE_MM for one in left for other in right)
    return None if eight else parts


def ring_of(face: Any) -> Floats:
    """A face's ring, counter-clockwise, its first point again at its end."""
    ring = np.asarray(shapely.get_coordinates(shapely.get_exterior_ring(face)))
    x, y = ring[:, 0], ring[:, 1]
    area = float((x[:-1] * y[1:] - x[1:] * y[:-1]).sum())
    return ring if area > 0 else ring[::-1]


def _turn(face: Any, points: Floats) -> int:
    """1 where the path runs all round a face to the left, -1 to the right, 0 where on some of its
    edges one way and on others the other: the two halves of an eight differ in that."""
    ring = ring_of(face)
    step, middle = np.diff(ring, axis=0), (ring[:-1] + ring[1:]) / 2
    chords: Any = shapely.linestrings(np.stack((points[:-1], points[1:]), axis=1))
    on = shapely.STRtree(chords).nearest(shapely.points(middle))
    along = (step * (points[on + 1] - points[on])).sum(axis=1)
    long = np.hypot(*step.T) > _SPIKE_MM * 5
    if (along[long] > 0).all():
        return 1
    return -1 if (along[long] < 0).all() else 0


def _scribbled(lines: Sequence[Floats]) -> bool:
    """Whether chords meet so often that noding them would cost more than it could tell."""
    chords = np.concatenate([np.stack((line[:-1], line[1:]), axis=1) for line in lines])
    drawn = np.asarray(shapely.linestrings(chords))
    tree = shapely.STRtree(drawn)
    most = _MOST_MEETINGS + _MEETINGS_EACH * len(drawn)
    met = 0
    for start in range(0, len(drawn), 256):
        met += len(tree.query(drawn[start : start + 256])[0])
        if met > most * 4:
            return True
    return False


def _joints(lines: Sequence[Floats]) -> list[Any]:
    """Short lines that join each end to the lines beside it, and cross those by a little: an end on
    a line meets it whatever its last digits."""
    ends = [(i, line[k]) for i, line in enumerate(lines) for k in (0, -1)]
    chords: list[Floats] = [np.stack((line[:-1], line[1:]), axis=1) for line in lines]
    owner = np.repeat(np.arange(len(lines)), [len(each) for each in chords])
    last = np.cumsum([len(each) for each in chords])
    every = np.concatenate(chords)
    drawn: Any = shapely.linestrings(every)
    tree = shapely.STRtree(drawn)
    places = shapely.points([place for _, place in ends])
    found = []
    for end, chord in zip(*tree.query(places, "dwithin", ON_EDGE_MM), strict=True):
        line, place = ends[int(end)]
        own = owner[chord] == line
        # Its own first or last chord an end always lies on.
        if own and chord == ((last[line] - 1) if int(end) % 2 else last[line] - len(chords[line])):
            continue
        if (joint := _joint(place, every[chord])) is not None:
            found.append(joint)
    return found


def _joint(place: Floats, chord: Floats) -> Any | None:
    begin, step = chord[0], chord[1] - chord[0]
    length = float(np.hypot(*step))
    if length <= 0:
        return None
    share = float(np.clip(((place - begin) @ step) / length**2, 0, 1))
    at = begin + share * step
    across = np.array([-step[1], step[0]]) / length * _SPIKE_MM
    return shapely.linestrings(np.array([place, at + across, at - across]))


def touching(lines: Sequence[Floats]) -> tuple[Indices, Indices]:
    """Pairs of ``lines`` that come within ``ON_EDGE_MM`` of each other, each both ways."""
    drawn = np.asarray([shapely.linestrings(line) for line in lines], dtype=object)
    one, other = shapely.STRtree(drawn).query(drawn, "dwithin", ON_EDGE_MM)
    apart = one != other
    return one[apart], other[apart]
