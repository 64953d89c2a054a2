"""Where in a part's outline its number has room. Pure.

The middle of the box around it serves most shapes; that of an angle, a channel or a ring's segment
lies beside the metal, where the number would seem to name whatever lies there.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

Point = tuple[float, float]
LINES = 16  # looked along in either direction; more would find a hair more room


@dataclass(frozen=True, slots=True)
class Spot:
    """A point in the outline, and how wide and high the metal is through it, in mm."""

    x: float
    y: float
    wide: float
    high: float


def label_spot(outline: Sequence[Point]) -> Spot:
    """The middle of the outline's box where that is inside, with the box's own size; else the
    point inside with the most room both ways. Raises ValueError for an outline of no points."""
    if not outline:
        raise ValueError("no outline to number")
    xs, ys = [x for x, _ in outline], [y for _, y in outline]
    left, right, low, top = min(xs), max(xs), min(ys), max(ys)
    middle = Spot((left + right) / 2, (low + top) / 2, right - left, top - low)
    if _within(_along(outline, middle.y), middle.x) is not None:
        return middle
    found = [_roomy(outline, low + (top - low) * (k + 0.5) / LINES) for k in range(LINES)]
    rooms = [one for some in found for one in some]
    return max(rooms, key=lambda one: min(one.wide, one.high), default=middle)


def _roomy(outline: Sequence[Point], y: float) -> list[Spot]:
    """The middles of the stretches of metal along one level, with the room above and below."""
    turned = [(b, a) for a, b in outline]
    spots = []
    for start, end in _along(outline, y):
        x = (start + end) / 2
        upright = _within(_along(turned, x), y)
        if upright is not None:
            low, top = upright
            spots.append(Spot(x, (low + top) / 2, end - start, top - low))
    return [one for one in spots if _within(_along(outline, one.y), one.x) is not None]


def _along(outline: Sequence[Point], y: float) -> list[tuple[float, float]]:
    """Where the level y runs inside the outline, by the even-odd rule; it closes itself."""
    crossed: list[float] = []
    for (x0, y0), (x1, y1) in zip(outline, [*outline[1:], outline[0]], strict=True):
        if (y0 <= y) != (y1 <= y):
            crossed.append(x0 + (y - y0) / (y1 - y0) * (x1 - x0))
    crossed.sort()
    return list(zip(crossed[::2], crossed[1::2], strict=False))


def _within(stretches: Sequence[tuple[float, float]], at: float) -> tuple[float, float] | None:
    return next((one for one in stretches if one[0] < at < one[1]), None)
