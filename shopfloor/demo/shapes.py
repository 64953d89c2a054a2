"""The demo's parts, each in its own coordinates, mm."""

from __future__ import annotations

import math
from dataclasses import dataclass

Point = tuple[float, float]


@dataclass(frozen=True, slots=True)
class Shape:
    """A part in its own coordinates: circles as (x, y, diameter) and closed outlines."""

    name: str
    width: float
    height: float
    circles: tuple[tuple[float, float, float], ...]
    inner: tuple[tuple[Point, ...], ...]
    outline: tuple[Point, ...]
    round_outline: float = 0.0  # diameter, where the outline is a circle
    bore: float = 0.0  # diameter of the hole in its middle
    # Two of them lie closer when one is turned round: how far along, as a share of the width, and
    # how far the edges that then face each other slant over the height.
    pair: float = 0.0
    slope: float = 0.0


def _rectangle(width: float, height: float) -> tuple[Point, ...]:
    return ((0, 0), (width, 0), (width, height), (0, height))


def base_plate(w: float, h: float, hole: float) -> Shape:
    inset = 1.8 * hole
    at = [(inset, inset), (w - inset, inset), (w - inset, h - inset), (inset, h - inset)]
    circles = tuple((x, y, hole) for x, y in at)
    return Shape("base plate", w, h, circles, (), _rectangle(w, h))


def gusset(w: float, h: float, hole: float) -> Shape:
    circles = ((w * 0.28, h * 0.28, hole),)
    outline = ((0, 0), (w, 0), (w, h * 0.2), (w * 0.2, h), (0, h))
    return Shape("gusset", w, h, circles, (), outline, pair=0.4, slope=1.0)


def flange(outer: float, bore: float, holes: int, hole: float) -> Shape:
    middle, ring = outer / 2, (outer + bore) / 4
    around = tuple(
        (
            middle + ring * math.cos(2 * math.pi * i / holes),
            middle + ring * math.sin(2 * math.pi * i / holes),
            hole,
        )
        for i in range(holes)
    )
    circles = (*around, (middle, middle, bore))
    return Shape("flange", outer, outer, circles, (), (), round_outline=outer, bore=bore)


def cover(diameter: float) -> Shape:
    return Shape("cover", diameter, diameter, (), (), (), round_outline=diameter)


def rib(w: float, h: float) -> Shape:
    c = h * 0.3
    return Shape("rib", w, h, (), (), ((0, 0), (w, 0), (w, h - c), (w - c, h), (c, h), (0, h - c)))


def guard(w: float, h: float, slots: int) -> Shape:
    pitch = h / (slots + 1)
    inner = tuple(
        tuple((w * 0.15 + x, pitch * (i + 1) - 6 + y) for x, y in _rectangle(w * 0.7, 12))
        for i in range(slots)
    )
    corners = tuple((x, y, 9.0) for x in (14.0, w - 14.0) for y in (14.0, h - 14.0))
    return Shape("guard", w, h, corners, inner, _rectangle(w, h))


def hopper_side(w: float, h: float) -> Shape:
    circles = tuple((x * w, 0.9 * h, 14.0) for x in (0.1, 0.5, 0.9))
    outline = ((w * 0.25, 0), (w * 0.75, 0), (w, h), (0, h))
    return Shape("hopper side", w, h, circles, (), outline, pair=0.75, slope=0.25)


def bracket(w: float, h: float, hole: float) -> Shape:
    circles = ((w * 0.2, h * 0.2, hole), (w * 0.8, h * 0.2, hole), (w * 0.2, h * 0.75, hole))
    outline = ((0, 0), (w, 0), (w, h * 0.4), (w * 0.4, h * 0.4), (w * 0.4, h), (0, h))
    return Shape("bracket", w, h, circles, (), outline, pair=0.4)
