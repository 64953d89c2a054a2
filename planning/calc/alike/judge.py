"""Whether two shapes are the same part, the same turned over, nearly the same, or neither.

The kerf: a program's path lies outside the finished edge by half a kerf, inside holes by as much. A
part whose outer edge grows by what its holes shrink by is the same part cut with another kerf. A
part without holes cannot tell that from a larger plate, so there the offset must be one the shop's
chart explains (``offsets_mm``).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final, Literal

import numpy as np
import shapely

from planning.calc.alike.laying import Laid, lay
from planning.calc.alike.outline import Outline, tolerance_mm

MOST_OFFSET_MM: Final = 3.0  # half of the widest kerf of a plasma torch, with room
NEAR_MM: Final = 2.0
NEAR_SHARE: Final = 0.01  # of the part's diagonal
NEAR_HOLES: Final = 2
_OFFSET_SLACK_MM: Final = 0.1
_ROOM: Final = 1.5  # of what sizes alone may differ before outlines are laid on one another

Kind = Literal["same", "mirrored", "near"]


@dataclass(frozen=True, slots=True)
class Change:
    """What differs between two near shapes. ``what``: edge (``now_mm`` is how far apart), offset
    (all edges lie ``now_mm`` further out), hole (its size was and is now), moved (a hole, by
    ``now_mm``), hole_gone, hole_new, line (an open cut)."""

    what: str
    was_mm: float | None = None
    now_mm: float | None = None


@dataclass(frozen=True, slots=True)
class Verdict:
    """``offset_mm`` is how much further out the edges of the second lie; ``apart_mm`` what is left
    between the two shapes after it."""

    kind: Kind
    apart_mm: float
    offset_mm: float = 0.0
    mirrored: bool = False
    changes: tuple[Change, ...] = ()


def judge(one: Outline, other: Outline, offsets_mm: Sequence[float] = ()) -> Verdict | None:
    """How ``other`` is ``one``. ``offsets_mm`` are the offsets that the kerf explains, signed as
    ``Verdict.offset_mm``; none at all is always among them. None where they are two parts."""
    if abs(one.holes - other.holes) > NEAR_HOLES:
        return None
    room = 8 * MOST_OFFSET_MM + NEAR_SHARE * 8 * one.size_mm
    if abs(one.around_mm - other.around_mm) > room:
        return None
    tolerance = tolerance_mm(one.step_mm, other.step_mm)
    same = _same(one, other, tolerance, offsets_mm) if one.holes == other.holes else None
    if same is not None:
        return same
    return _near(one, other, tolerance, offsets_mm)


def _same(
    one: Outline, other: Outline, tolerance: float, offsets_mm: Sequence[float]
) -> Verdict | None:
    if len(one.lines) != len(other.lines):
        return None
    offset = _offset(one, other)
    if offset is None:
        return None
    if abs(offset) <= tolerance:
        found = _meeting(one, other, tolerance)
        return _met(found, 0.0)
    if one.holes == 0 and not any(abs(offset - k) <= _OFFSET_SLACK_MM for k in offsets_mm):
        return None
    small, large = (one, other) if offset > 0 else (other, one)
    shrunk = _shrunk(large, small.area_mm2, abs(offset))
    if shrunk is None:
        return None
    pair = (one, shrunk[0]) if offset > 0 else (shrunk[0], other)
    found = _meeting(*pair, tolerance + _OFFSET_SLACK_MM / 2)
    size = shrunk[1] if offset > 0 else -shrunk[1]
    return _met(found, size)


def _met(found: Laid | None, offset: float) -> Verdict | None:
    if found is None:
        return None
    kind: Kind = "mirrored" if found.mirrored else "same"
    return Verdict(kind, found.apart_mm, offset, found.mirrored)


def _offset(one: Outline, other: Outline) -> float | None:
    """How much further out the edges of ``other`` lie, by the areas; None where that is more than
    a kerf or the outer edges say something else."""
    edge = (one.edge_mm + other.edge_mm) / 2
    offset = (other.area_mm2 - one.area_mm2) / edge
    by_outer = other.around_mm - one.around_mm  # 2 pi to 8 times the offset where convex
    fits = abs(offset) <= MOST_OFFSET_MM and abs(by_outer) <= _ROOM * 8 * abs(offset) + 0.01 * edge
    return offset if fits else None


def _shrunk(large: Outline, area_mm2: float, offset: float) -> tuple[Outline, float] | None:
    """The larger shape with its edges moved in until it has an area, and by how much. None where
    that tears it or closes a hole."""
    for _ in range(4):
        area = shapely.buffer(large.area, -offset, join_style="mitre", mitre_limit=10.0)
        if area.geom_type != "Polygon" or len(area.interiors) != large.holes or area.is_empty:
            return None
        miss = (area.area - area_mm2) / area.length
        if abs(miss) < 1e-4:
            break
        offset += miss
    return large.with_area(shapely.geometry.polygon.orient(area)), offset


def _meeting(one: Outline, other: Outline, tolerance: float) -> Laid | None:
    for mirrored in (False, True):
        laid = lay(one, other, mirrored=mirrored, within_mm=tolerance)
        if laid is not None and laid.apart_mm <= tolerance:
            return laid
    return None


def _near(
    one: Outline, other: Outline, tolerance: float, offsets_mm: Sequence[float]
) -> Verdict | None:
    most = max(NEAR_MM, NEAR_SHARE * one.size_mm)
    ways = (
        lay(one, other, mirrored=mirrored, within_mm=most, outer=True) for mirrored in (False, True)
    )
    found = [way for way in ways if way is not None and way.apart_mm <= most]
    laid = min(found, key=lambda way: way.apart_mm + way.holes_mm, default=None)
    if laid is None:
        return None
    offset = _outer_offset(one, other)
    by_kerf = abs(offset) > tolerance and any(
        abs(offset - k) <= _OFFSET_SLACK_MM for k in offsets_mm
    )
    changes = _hole_changes(one, other, laid, tolerance, offset if by_kerf else 0.0)
    if len(changes) > max(NEAR_HOLES, one.holes // 2):
        return None
    if laid.apart_mm > tolerance and not by_kerf:
        changes = [*_edge_change(laid, offset, tolerance), *changes]
    if len(one.lines) != len(other.lines) or not changes:
        changes.append(Change("line"))
    return Verdict("near", laid.apart_mm, offset if by_kerf else 0.0, laid.mirrored, tuple(changes))


def _edge_change(laid: Laid, offset: float, tolerance: float) -> list[Change]:
    if abs(abs(offset) - laid.apart_mm) <= tolerance + 0.5 * abs(offset):
        return [Change("offset", now_mm=offset)]
    return [Change("edge", now_mm=laid.apart_mm)]


def _outer_offset(one: Outline, other: Outline) -> float:
    mine, theirs = (shapely.Polygon(each.area.exterior) for each in (one, other))
    return float((theirs.area - mine.area) * 2 / (mine.length + theirs.length))


def _hole_changes(
    one: Outline, other: Outline, laid: Laid, tolerance: float, offset: float
) -> list[Change]:
    """Holes that moved, changed size, are gone or new, paired by where they are."""
    spots = laid.place(other.hole_centres) if other.holes else other.hole_centres
    sizes = other.hole_sizes_mm + 2 * offset  # as they would be without the kerf
    left = np.ones(len(spots), np.bool_)
    changes = []
    for centre, size in zip(one.hole_centres.tolist(), one.hole_sizes_mm.tolist(), strict=True):
        away = np.where(left, np.abs(spots - centre), np.inf)
        near = int(away.argmin()) if len(away) else 0
        if not left.any() or away[near] > max(NEAR_MM, size / 2):
            changes.append(Change("hole_gone", was_mm=size))
            continue
        left[near] = False
        if abs(sizes[near] - size) > 2 * tolerance:
            changes.append(Change("hole", size, float(sizes[near])))
        elif (by := float(away[near])) > 2 * tolerance:
            changes.append(Change("moved", now_mm=by))
    changes += [Change("hole_new", now_mm=float(sizes[i])) for i in np.flatnonzero(left)]
    return changes
