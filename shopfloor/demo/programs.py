"""Cut programs for the demo's parts: plain RS-274 with lead-ins, holes before outlines."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass

Point = tuple[float, float]
LEAD_MM = 6.0


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


def _rectangle(width: float, height: float) -> tuple[Point, ...]:
    return ((0, 0), (width, 0), (width, height), (0, height))


def base_plate(w: float, h: float, hole: float) -> Shape:
    inset = 1.8 * hole
    at = [(inset, inset), (w - inset, inset), (w - inset, h - inset), (inset, h - inset)]
    circles = tuple((x, y, hole) for x, y in at)
    return Shape("base plate", w, h, circles, (), _rectangle(w, h))


def gusset(w: float, h: float, hole: float) -> Shape:
    circles = ((w * 0.28, h * 0.28, hole),)
    return Shape("gusset", w, h, circles, (), ((0, 0), (w, 0), (w, h * 0.2), (w * 0.2, h), (0, h)))


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
    return Shape(
        "flange", outer, outer, (*around, (middle, middle, bore)), (), (), round_outline=outer
    )


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
    return Shape("hopper side", w, h, circles, (), ((w * 0.25, 0), (w * 0.75, 0), (w, h), (0, h)))


def bracket(w: float, h: float, hole: float) -> Shape:
    circles = ((w * 0.2, h * 0.2, hole), (w * 0.8, h * 0.2, hole), (w * 0.2, h * 0.75, hole))
    outline = ((0, 0), (w, 0), (w, h * 0.4), (w * 0.4, h * 0.4), (w * 0.4, h), (0, h))
    return Shape("bracket", w, h, circles, (), outline)


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
    title: str, parts: Sequence[tuple[Shape, int]], sheet: Point, *, gap: float = 12.0
) -> NestProgram:
    """Lays the copies in rows from the sheet's corner. What does not fit is left out, and
    `copies` says how many are there."""
    blocks: list[str] = []
    placed: list[Placed] = []
    copies = [0] * len(parts)
    spots = _rows([shape for shape, count in parts for _ in range(count)], sheet, gap)
    wanted = [index for index, (_, count) in enumerate(parts) for _ in range(count)]
    for index, spot in zip(wanted, spots, strict=False):
        if spot is None:
            continue
        shape = parts[index][0]
        copies[index] += 1
        for inner, lines in _contours(shape, spot):
            blocks.extend(lines)
            placed.append(Placed(index, copies[index], inner))
    head = ["%", f"({title}, example program, not for cutting)", "G21 G90 G64"]
    text = "\n".join([*head, *blocks, "G0 X0 Y0", "M30", "%"]) + "\n"
    return NestProgram(text, tuple(placed), tuple(copies))


def _rows(shapes: Sequence[Shape], sheet: Point, gap: float) -> Iterator[Point | None]:
    x, y, tall = gap, gap, 0.0
    for shape in shapes:
        if x + shape.width + gap > sheet[0]:
            x, y, tall = gap, y + tall + gap, 0.0
        if y + shape.height + gap > sheet[1] or shape.width + 2 * gap > sheet[0]:
            yield None
            continue
        yield x, y
        x, tall = x + shape.width + gap, max(tall, shape.height)


def _contours(shape: Shape, at: Point) -> Iterator[tuple[bool, list[str]]]:
    for x, y, diameter in shape.circles:
        yield True, _circle(at[0] + x, at[1] + y, diameter / 2, inside=True)
    for loop in shape.inner:
        yield True, _polygon([(at[0] + x, at[1] + y) for x, y in loop], inside=True)
    if shape.round_outline:
        radius = shape.round_outline / 2
        yield False, _circle(at[0] + radius, at[1] + radius, radius, inside=False)
    else:
        yield False, _polygon([(at[0] + x, at[1] + y) for x, y in shape.outline], inside=False)


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


def _polygon(points: Sequence[Point], *, inside: bool) -> list[str]:
    """Begun in the middle of its first side, so that the lead-in meets no corner."""
    first, second = points[0], points[1]
    middle = ((first[0] + second[0]) / 2, (first[1] + second[1]) / 2)
    step: Callable[[float], float] = (
        (lambda v: v + LEAD_MM * 0.7) if inside else (lambda v: v - LEAD_MM)
    )
    order = [middle, *points[1:], first, middle]
    moves = [f"G1 X{x:.3f} Y{y:.3f}" for x, y in order]
    return [f"G0 X{middle[0]:.3f} Y{step(middle[1]):.3f}", "M3", *moves, "M5"]
