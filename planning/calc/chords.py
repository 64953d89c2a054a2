"""Corner speeds of outlines that are drawn in short chords.

A program's last decimal moves every point by up to half a step, so the turn at a joint of two short
chords is mostly rounding. A control with a path tolerance does not brake for it, since it may leave
the programmed path by that tolerance. So turns are measured over chords of 1, 2, 4 ... 1024 moves
while the path stays within half the tolerance of them, and the speed limit of a joint rises to what
the longest such window allows. Lengths, stops and exact stop stay as programmed.

The window rule is ours. The distance of a path from a chord: Douglas and Peucker 1973. Planned time
over the true arc's, for circles, ellipses and waves in chords of 0.05 mm and more and 2 decimals:
0.97 to 1.03 (``tests/planning/calc/test_chords.py``). Shallow corners between chords below 0.05 mm
can stay up to a fifth too slow.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from planning.calc.program.types import Bools, Floats, Indices

_LEVELS: Final = 10  # the longest chord spans 2^10 moves
_PIECE: Final = 8192
# A window reaches 1024 vertices to each side and lends its limit to 512 beside its middle.
_HALO: Final = 1536
# A coarser step is no rounding: coordinates so round were written by hand, corners and all.
COARSEST_MM: Final = 0.03
# A turn is corrected for rounding where its offset is below so many steps.
NOISY_STEPS: Final = 10.0
# A chord of fewer moves beside a single one may be a real corner's own side.
_MANY: Final = 4


@dataclass(frozen=True, slots=True)
class Joints:
    """A path of n moves in mm and the n - 1 joints between them.

    ``x`` and ``y`` are the moves' ends, ``first`` the start of the path; ``curved`` is not 0 for
    moves that are true arcs, ``stops`` says after which the table rests. ``through`` are joints
    inside a straight line or an arc. ``limit`` is the highest v^2 in mm2/s2 at each joint by its
    own two lines; ``slow`` says where more is asked, ``near`` where the joint may lie near the
    chord of its two lines, ``noisy`` where it is slow and its turn may be rounding. ``tolerance``
    in mm is of each joint or of all. ``step_mm`` is the step of the program's last decimal, at most
    ``COARSEST_MM``, 0 where figures are exact.
    """

    x: Floats
    y: Floats
    first: tuple[float, float]
    curved: Floats
    through: Bools
    stops: Bools
    tolerance: Floats | float
    limit: Floats
    slow: Bools
    near: Bools
    noisy: Bools
    accel: float
    step_mm: float


@dataclass(frozen=True, slots=True)
class _Places:
    """Places of the path with what is known of each: ``off`` is 0 for a straight move to the next
    place, else infinite; ``tolerance`` in mm; ``slow`` where a higher limit is of use, ``noisy``
    where the turn between its two moves may be rounding."""

    x: Floats
    y: Floats
    off: Floats
    stops: Bools
    tolerance: Floats
    slow: Bools
    noisy: Bools
    step: float

    def part(self, low: int, high: int) -> _Places:
        own = slice(low, high)
        return _Places(
            self.x[own], self.y[own], self.off[low : high - 1], self.stops[own],
            self.tolerance[own], self.slow[own], self.noisy[own], self.step,
        )  # fmt: skip


def raised(path: Joints) -> Floats:
    """``path.limit``, raised in place where a turn is rounding or part of a curve in chords."""
    if path.slow.any():
        between = ~path.through
        corners = np.flatnonzero(between)
        at = _within_reach(path.near[between], path.noisy[between])
        if len(at):
            last = len(path.x) - 1
            move = np.concatenate(([-1], corners, [last]))[at]
            known = _places(path, move, at)
            own = known.slow
            limit = _by_pieces(known)[own] * path.accel
            path.limit[move[own]] = np.maximum(path.limit[move[own]], limit)
    return path.limit


def _places(path: Joints, move: Indices, at: Indices) -> _Places:
    """The ends of moves ``move``, -1 the path's start; ``at`` are their numbers among corners."""
    inner = (move >= 0) & (move < len(path.x) - 1)
    joint = np.where(inner, move, 0)
    x, y = path.x[move], path.y[move]
    if move[0] < 0:
        x[0], y[0] = path.first
    off = np.where(path.curved[move[1:]] != 0, np.inf, 0.0)
    off[np.diff(at) != 1] = np.inf
    tolerance = path.tolerance
    return _Places(
        x, y, off, path.stops[joint] | ~inner,
        np.full(len(at), tolerance) if isinstance(tolerance, float) else tolerance[joint],
        path.slow[joint] & inner, path.noisy[joint] & inner, path.step_mm,
    )  # fmt: skip


def _within_reach(near: Bools, noisy: Bools) -> Indices:
    """The places, ends of the path among them, that a window with anything to say reaches over.

    In one of two moves or more every other joint lies near the chord of its two moves; its
    distance from that is more than half the sine of its turn times the shorter move.
    """
    found = np.zeros(len(near) + 2, np.bool_)
    middle = near[:-2] & near[2:]
    for shift in range(5):
        found[shift : shift + len(middle)] |= middle
    for shift in range(3):
        found[shift : shift + len(noisy)] |= noisy
    return np.flatnonzero(found)


def _by_pieces(known: _Places) -> Floats:
    """The radius in mm that each place allows; 0 where windows say nothing."""
    radius = np.zeros(len(known.x))
    for start in range(0, len(radius), _PIECE):
        end = min(start + _PIECE, len(radius))
        if known.slow[start:end].any():
            low, high = max(start - _HALO, 0), min(end + _HALO, len(radius))
            radius[start:end] = _of_piece(known.part(low, high))[start - low : end - low]
    return radius


class _Side:
    """The longest chord from each place to one side while the path stays by it: over how many
    moves, and how far the path leaves it in mm. ``open`` says that it may be longer still."""

    def __init__(self, known: _Places, sign: int) -> None:
        self.sign = sign
        self.open = ~known.stops
        self.span = np.zeros(len(self.open), np.intp)
        self.off = np.zeros(len(self.open))

    def grow(self, off: Floats, most: Floats, span: int) -> None:
        """Try chords of ``span`` moves, which the path leaves by ``off`` from where they begin."""
        own = slice(span, None) if self.sign < 0 else slice(None, -span)
        grown = np.zeros(len(self.open), np.bool_)
        if len(off):
            grown[own] = self.open[own] & (off <= most[own])
            np.copyto(self.off[own], off, where=grown[own])
        self.span[grown] = span
        self.open = grown


def _of_piece(known: _Places) -> Floats:
    """By windows of as many moves to both sides, which lend to the places within them; and at slow
    places by the longest chord to either side, such as many pieces of a line before a corner and
    one long move after it."""
    off, most = known.off, known.tolerance / 2
    before, after = _Side(known, -1), _Side(known, 1)
    found: list[Floats] = []
    good, shorter = known.noisy, off
    for level in range(_LEVELS + 1):
        span = 1 << level
        before.grow(off, most, span)
        after.grow(off, most, span)
        longer = before.open & after.open
        if level:
            found.append(_largest(known, np.flatnonzero(good & ~longer), shorter, span // 2))
        good, shorter = longer if level else longer & good, off
        if not longer.any():
            break
        off = _longer(known, off, span)
    found.append(_largest(known, np.flatnonzero(good), shorter, span))
    radius = _lent(found)
    few, many = np.minimum(before.span, after.span), np.maximum(before.span, after.span)
    uneven = np.flatnonzero(known.slow & (few > 0) & (many > few) & (many >= _MANY))
    spans = before.span[uneven], after.span[uneven]
    own = _radii(known, uneven, *spans, np.maximum(before.off[uneven], after.off[uneven]))
    radius[uneven] = np.maximum(radius[uneven], own)
    return radius


def _largest(known: _Places, at: Indices, off: Floats, span: int) -> Floats:
    """The radius by windows of ``span`` moves to both sides at places ``at``, 0 elsewhere."""
    radius = np.zeros(len(known.x))
    if len(at):
        radius[at] = _radii(known, at, span, span, np.maximum(off[at - span], off[at]))
    return radius


def _longer(known: _Places, off: Floats, span: int) -> Floats:
    """How far the path leaves each chord of twice the span, from those of the span itself; infinite
    where it does so by more than half the tolerance already."""
    x, y, reach = known.x, known.y, 2 * span
    count = len(x) - reach
    found = np.full(max(count, 0), np.inf)
    if count <= 0:
        return found
    both = np.maximum(off[:-span], off[span:])
    at = np.flatnonzero((both <= known.tolerance.max() / 2) & ~known.stops[span:-span])
    cx, cy = x[at + reach] - x[at], y[at + reach] - y[at]
    mx, my = x[at + span] - x[at], y[at + span] - y[at]
    length2 = cx * cx + cy * cy
    along = mx * cx + my * cy
    beside = np.abs(mx * cy - my * cx)
    with np.errstate(divide="ignore", invalid="ignore"):
        beside /= np.sqrt(length2)
    beside -= np.minimum(known.step, known.tolerance[at + span] / 4)
    beside = both[at] + np.maximum(beside, 0.0)
    beside[(along <= 0) | (along >= length2)] = np.inf
    found[at] = beside
    return found


def _radii(
    known: _Places, at: Indices, before_span: Indices | int, after_span: Indices | int, off: Floats
) -> Floats:
    """The radius that the corner at each of ``at`` allows between the chords of so many moves
    before and after it, which the path leaves by ``off`` mm."""
    x, y, step = known.x, known.y, known.step
    bx, by = x[at] - x[at - before_span], y[at] - y[at - before_span]
    ax, ay = x[at + after_span] - x[at], y[at + after_span] - y[at]
    before, after = np.hypot(bx, by), np.hypot(ax, ay)
    both = before * after
    cos, sin = (bx * ax + by * ay) / both, np.abs(bx * ay - by * ax) / both
    p, q = np.minimum(before, after), np.maximum(before, after)
    sin2 = sin * sin
    sin2 -= np.where(p * sin < NOISY_STEPS * step, (2 * step / p) ** 2, 0.0)
    np.maximum(sin2, 0.0, out=sin2)
    cos = np.copysign(np.sqrt(1 - np.minimum(sin2, 1.0)), cos)
    room = known.tolerance[at] - off
    by_tolerance, cot = rounding(cos, np.sqrt(sin2))
    run = (p + np.minimum(q, 1.5 * p)) / 2
    with np.errstate(invalid="ignore"):  # straight on and no room: settled by fmin
        return np.asarray(np.fmin(room * by_tolerance, run / 2 * cot))


def _lent(found: list[Floats]) -> Floats:
    """The highest radius of the windows in whose inner half a place lies: level by level downward,
    each lends to a quarter of its span to both sides, so that the shifts add up to half of it."""
    best = found[-1]
    for level in range(len(found) - 1, 0, -1):
        shift = (1 << level) // 4
        if shift:
            wider = best.copy()
            np.maximum(wider[shift:], best[:-shift], out=wider[shift:])
            np.maximum(wider[:-shift], best[shift:], out=wider[:-shift])
            best = wider
        np.maximum(best, found[level - 1], out=best)
    return best


def rounding(cos: Floats, sin: Floats) -> tuple[Floats, Floats]:
    """For corners by cosine and size of the sine of their turn phi: s/(1 - s) with s =
    cos(phi/2), and 1/tan(phi/2).

    With c2 = cos^2(phi/2) and s2 = sin^2(phi/2) these are (s + c2)/s2 and sqrt(c2/s2). Of c2 =
    (1 + cos phi)/2 and s2 = sin^2 phi/(4 c2) that form keeps its digits at small turns; beyond a
    right angle c2 and s2 change places.
    """
    cos2 = (1 + np.abs(cos)) / 2
    sin2 = sin * sin / (4 * cos2)
    wide = cos < 0
    cos2, sin2 = np.where(wide, sin2, cos2), np.where(wide, cos2, sin2)
    with np.errstate(divide="ignore", invalid="ignore"):
        return (np.sqrt(cos2) + cos2) / sin2, np.sqrt(cos2 / sin2)
