"""Cut programs for the demo's parts: plain RS-274 with lead-ins, holes before outlines."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from shopfloor.demo.layout import Spot, lay_out
from shopfloor.demo.shapes import Point, Shape

LEAD_MM = 6.0


@dataclass(frozen=True, slots=True)
class Placed:
    """What one contour of a program is: which part of the nest's list, and which copy."""

    part: int
    copy: int
    inner: bool


@dataclass(frozen=True, slots=True)
class NestProgram:
    text: str
    placed: tuple[Placed, ...]  # in cut order
    copies: tuple[int, ...]  # of each part on the sheet


def nest(
    title: str, parts: Sequence[tuple[Shape, int]], area: Point, *, gap: float = 12.0
) -> NestProgram:
    """Lays the copies out from the sheet's corner, within `area`. What does not fit is left out,
    and `copies` says how many are there."""
    blocks: list[str] = []
    placed: list[Placed] = []
    copies = [0] * len(parts)
    for index, spot in lay_out(parts, area, gap):
        copies[index] += 1
        for inner, lines in _contours(parts[index][0], spot):
            blocks.extend(lines)
            placed.append(Placed(index, copies[index], inner))
    head = ["%", f"({title}, example program, not for cutting)", "G21 G90 G64"]
    text = "\n".join([*head, *blocks, "G0 X0 Y0", "M30", "%"]) + "\n"
    return NestProgram(text, tuple(placed), tuple(copies))


def _contours(shape: Shape, spot: Spot) -> Iterator[tuple[bool, list[str]]]:
    for x, y, diameter in shape.circles:
        yield True, _circle(*spot.place(shape, (x, y)), diameter / 2, inside=True)
    for loop in shape.inner:
        yield True, _polygon(shape, spot, loop, inside=True)
    if shape.round_outline:
        radius = shape.round_outline / 2
        yield False, _circle(*spot.place(shape, (radius, radius)), radius, inside=False)
    else:
        yield False, _polygon(shape, spot, shape.outline, inside=False)


def _circle(x: float, y: float, radius: float, *, inside: bool) -> list[str]:
    lead = min(LEAD_MM, radius * 0.6) * (-1 if inside else 1)
    turn = "G3" if inside else "G2"
    start = x + radius
    return [
        f"G0 X{start + lead:.3f} Y{y:.3f}",
        "M3",
        f"G1 X{start:.3f} Y{y:.3f}",
        f"{turn} X{start:.3f} Y{y:.3f} I{-radius:.3f} J0",
        "M5",
    ]


def _polygon(shape: Shape, spot: Spot, points: Sequence[Point], *, inside: bool) -> list[str]:
    """Begun in the middle of its first side, so that the lead-in meets no corner."""
    first, second = points[0], points[1]
    middle = ((first[0] + second[0]) / 2, (first[1] + second[1]) / 2)
    lead = middle[1] + (LEAD_MM * 0.7 if inside else -LEAD_MM)
    order = [spot.place(shape, point) for point in (middle, *points[1:], first, middle)]
    moves = [f"G1 X{x:.3f} Y{y:.3f}" for x, y in order]
    start = spot.place(shape, (middle[0], lead))
    return [f"G0 X{start[0]:.3f} Y{start[1]:.3f}", "M3", *moves, "M5"]
