"""Laying one outline on another: the turn, the shift and the mirror under which they meet best.

Turns worth trying come from the outlines (points at equal steps seen from the centre: a turn is one
complex factor, another start a shift, the best of both a peak of the cross correlation) and from
the hole furthest out, which a round outline needs. The best few are refined by least squares of the
distances along the normals (Gauss and Newton's way, from memory).
"""

from __future__ import annotations

import cmath
from dataclasses import dataclass
from functools import cached_property
from typing import Any, Final

import numpy as np
import shapely

from planning.calc.alike.outline import Complexes, Floats, Outline

_STEPS: Final = 256
_FINER: Final = 4
_PEAKS: Final = 8
_BY_HOLES: Final = 48
_REFINED: Final = 3
_ROUNDS: Final = 6
_SAMPLES: Final = 160
_AT_ONCE: Final = 256
_FEW: Final = 256  # segments that are looked through one by one
_HOLES_TRIED: Final = 256  # of all, spread evenly, by which turns are held against each other
_START_MM: Final = 2.0  # how badly the best turn may fit before it is refined
_START_SHARE: Final = 0.01
_FAR_MM: Final = 5.0  # a hole further off than that counts as gone, however far


@dataclass(frozen=True, slots=True)
class Laid:
    """``place(z)`` = turn * (z or its mirror image) + shift lies on the other outline; no point of
    either is further than ``apart_mm`` from the other (at least that far, where it is over what was
    asked). ``holes_mm`` is how far holes lie from the nearest hole, as a mean."""

    turn: complex
    shift: complex
    mirrored: bool
    apart_mm: float
    holes_mm: float

    def place(self, z: Complexes) -> Complexes:
        placed: Complexes = self.turn * _seen(z, self.mirrored) + self.shift
        return placed


def lay(
    one: Outline, other: Outline, *, mirrored: bool, within_mm: float, outer: bool = False
) -> Laid | None:
    """``other`` laid on ``one``, None where no turn comes near; with ``outer`` by the outer edges
    alone, for parts whose holes differ. The search ends at the first turn within ``within_mm``."""
    starts = _starts(one, other, mirrored)
    target = _Edges(one.area.exterior if outer else one.edges)
    moving = other.area.exterior if outer else other.edges
    sample = _seen(_sampled(moving), mirrored)
    best: Laid | None = None
    for cost, start in starts[:_REFINED]:
        if cost > _START_MM + _START_SHARE * one.size_mm or cost > starts[0][0] + _START_MM:
            break
        turn, shift = _refined(target, sample, start)
        apart = _apart(target, moving, sample, (turn, shift, mirrored), within_mm)
        laid = Laid(turn, shift, mirrored, apart, _hole_gap(one, other, mirrored, (turn, shift)))
        if best is None or laid.apart_mm + laid.holes_mm < best.apart_mm + best.holes_mm:
            best = laid
        if not outer and apart <= within_mm:
            break
    return best


def _starts(
    one: Outline, other: Outline, mirrored: bool
) -> list[tuple[float, tuple[complex, complex]]]:
    """Turns and shifts worth trying with how badly each fits, the best first."""
    turns = _turns(one, other, mirrored)
    tried = [(turn, one.centre - turn * _seen(other.centre, mirrored)) for turn in turns]
    sample = _seen(_sampled(other.area.exterior, 64), mirrored)
    target = _Edges(one.area.exterior)
    found = []
    for start in tried:
        edge = target.nearest(start[0] * sample + start[1])[1]
        cost = float(np.sqrt((edge**2).mean())) + _hole_gap(one, other, mirrored, start)
        found.append((cost, start))
    return sorted(found, key=lambda each: each[0])


def _seen(z: Any, mirrored: bool) -> Any:
    return np.conj(z) if mirrored else z


def _turns(one: Outline, other: Outline, mirrored: bool) -> list[complex]:
    mine, theirs = _steps(one), _steps(other)
    if mirrored:
        theirs = theirs.conj()[::-1]
    product = np.fft.fft(mine) * np.fft.fft(theirs).conj()
    padded = np.zeros(_STEPS * _FINER, np.complex128)
    half = _STEPS // 2
    padded[:half], padded[-half:] = product[:half], product[half:]
    match = np.fft.ifft(padded)
    size = np.abs(match)
    peak = (size >= np.roll(size, 1)) & (size > np.roll(size, -1))
    at = np.flatnonzero(peak) if peak.any() else np.array([int(size.argmax())])
    at = at[np.argsort(-size[at])][:_PEAKS]
    turns = [complex(value / abs(value)) for value in match[at] if value]
    return [*turns, *_hole_turns(one, other, mirrored)] or [1 + 0j]


def _steps(outline: Outline) -> Complexes:
    z = _points(outline.area.exterior)
    run = np.concatenate(([0.0], np.cumsum(np.abs(np.diff(z)))))
    at = np.arange(_STEPS) * run[-1] / _STEPS
    points = np.interp(at, run, z.real) + 1j * np.interp(at, run, z.imag)
    return np.asarray(points - outline.centre, np.complex128)


def _hole_turns(one: Outline, other: Outline, mirrored: bool) -> list[complex]:
    if not one.holes or not other.holes:
        return []
    mine = one.hole_centres - one.centre
    theirs = _seen(other.hole_centres - other.centre, mirrored)
    far = complex(mine[np.abs(mine).argmax()])
    if abs(far) < 1.0:
        return []
    off = np.abs(np.abs(theirs) - abs(far))
    near = np.argsort(off)[:_BY_HOLES]
    return [
        cmath.rect(1.0, cmath.phase(far) - cmath.phase(complex(theirs[i])))
        for i in near.tolist()
        if off[i] < 1.0
    ]


def _hole_gap(
    one: Outline, other: Outline, mirrored: bool, start: tuple[complex, complex]
) -> float:
    if not one.holes or not other.holes:
        return 0.0
    spots = start[0] * _seen(other.hole_centres, mirrored) + start[1]
    some = one.hole_centres[:: max(1, one.holes // _HOLES_TRIED)]
    away = np.abs(some[:, None] - spots[None, :]).min(axis=1)
    return float(np.minimum(away, _FAR_MM).mean())


class _Edges:
    """Segments that points are held against."""

    def __init__(self, lines: Any) -> None:
        self.lines = lines
        coords = [_points(part) for part in shapely.get_parts(lines)]
        start = np.concatenate([each[:-1] for each in coords])
        step = np.concatenate([np.diff(each) for each in coords])
        long = step != 0
        self.start, self.step = start[long], step[long]
        self.size = np.abs(self.step)
        self.normal = 1j * self.step / self.size

    @cached_property
    def _tree(self) -> Any:
        ends = np.column_stack((self.start, self.start + self.step))
        lines: Any = shapely.linestrings(np.stack((ends.real, ends.imag), axis=-1))
        return shapely.STRtree(lines)

    def nearest(self, points: Complexes) -> tuple[Any, Floats]:
        """For each point a segment nearest to it, and how far that is. Of many segments by a tree:
        a perforated plate has tens of thousands, and as many points."""
        if len(self.start) > _FEW:
            spots = shapely.points(points.real, points.imag)
            by_tree = self._tree.nearest(spots)
            return by_tree, shapely.distance(spots, self._tree.geometries[by_tree])
        at, away = [], []
        for first in range(0, len(points), _AT_ONCE):
            some = points[first : first + _AT_ONCE]
            along = (some[:, None] - self.start) * (self.step.conj() / self.size)
            past = np.abs(along.real - self.size / 2) - self.size / 2
            off2 = np.square(np.maximum(past, 0.0)) + np.square(along.imag)
            near = off2.argmin(axis=1)
            at.append(near)
            away.append(np.sqrt(off2[np.arange(len(some)), near]))
        return np.concatenate(at), np.concatenate(away)


def _refined(
    target: _Edges, points: Complexes, start: tuple[complex, complex]
) -> tuple[complex, complex]:
    turn, shift = start
    for _ in range(_ROUNDS):
        moved = turn * points + shift
        at, _away = target.nearest(moved)
        normal = target.normal[at]
        gap = ((moved - target.start[at]) * normal.conj()).real
        middle = moved.mean()
        arm = moved - middle
        terms = np.column_stack(((1j * arm * normal.conj()).real, normal.real, normal.imag))
        step = np.linalg.lstsq(terms, -gap, rcond=1e-9)[0]
        by = cmath.rect(1.0, float(np.clip(step[0], -0.1, 0.1)))
        turn, shift = by * turn, by * (shift - middle) + middle + complex(step[1], step[2])
        if abs(step[0]) * float(np.abs(arm).max()) + abs(complex(step[1], step[2])) < 1e-3:
            break
    return turn, shift


def _apart(
    target: _Edges, moving: Any, sample: Complexes, by: tuple[complex, complex, bool],
    within_mm: float,
) -> float:  # fmt: skip
    """The largest distance from points of either to the other; of fewer points where those are over
    ``within_mm`` already."""
    turn, shift, mirrored = by
    rough = float(target.nearest(turn * sample + shift)[1].max())
    if rough > within_mm:
        return rough
    there = turn * _seen(_dense(moving), mirrored) + shift
    back = _seen((_dense(target.lines) - shift) / turn, mirrored)
    forth = target.nearest(there)[1].max()
    return float(max(forth, _Edges(moving).nearest(back)[1].max()))


def _sampled(lines: Any, count: int = _SAMPLES) -> Complexes:
    """Points at equal steps along all of it."""
    parts = shapely.get_parts(lines)
    length = shapely.length(parts)
    found = []
    for part, mm in zip(parts, length, strict=True):
        own = max(8, round(count * mm / length.sum()))
        found.append(shapely.get_coordinates(
            shapely.line_interpolate_point(part, np.arange(own) * mm / own)
        ))  # fmt: skip
    return _complex(np.concatenate(found))


def _dense(lines: Any) -> Complexes:
    """Its vertices, and points between them where they lie far apart."""
    return _complex(
        shapely.get_coordinates(shapely.segmentize(lines, max(1.0, lines.length / 200)))
    )


def _points(line: Any) -> Complexes:
    return _complex(shapely.get_coordinates(line))


def _complex(xy: Floats) -> Complexes:
    return np.asarray(xy[:, 0] + 1j * xy[:, 1])
