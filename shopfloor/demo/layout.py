"""Where the demo's parts lie on a sheet: in rows from its corner, odd shapes in pairs with the
second one turned round, small round parts inside the bore of a larger one."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from shopfloor.demo.shapes import Point, Shape


@dataclass(frozen=True, slots=True)
class Spot:
    """The corner of a part's rectangle on the sheet, mm; turned by half a turn or not."""

    x: float
    y: float
    turned: bool = False

    def place(self, shape: Shape, point: Point) -> Point:
        if self.turned:
            return self.x + shape.width - point[0], self.y + shape.height - point[1]
        return self.x + point[0], self.y + point[1]


@dataclass(frozen=True, slots=True)
class _Block:
    """Parts that are laid down together: each with its number and its place in the block."""

    width: float
    height: float
    parts: tuple[tuple[int, Spot], ...]


def lay_out(
    parts: Sequence[tuple[Shape, int]], area: Point, gap: float
) -> Iterator[tuple[int, Spot]]:
    """(number of the part in `parts`, its spot) in cut order. What does not fit in `area` is left
    out."""
    x, y, tall = gap, gap, 0.0
    for block in _blocks(parts, gap):
        if x + block.width + gap > area[0]:
            x, y, tall = gap, y + tall + gap, 0.0
        if y + block.height + gap > area[1] or block.width + 2 * gap > area[0]:
            continue
        for part, spot in block.parts:
            yield part, Spot(x + spot.x, y + spot.y, spot.turned)
        x, tall = x + block.width + gap, max(tall, block.height)


def _blocks(parts: Sequence[tuple[Shape, int]], gap: float) -> Iterator[_Block]:
    in_bore = _in_bore(parts)
    for number, (shape, count) in enumerate(parts):
        if number in in_bore.values():
            continue
        step = _pair_step(shape, gap)
        together = 2 if step else 1
        for first in range(0, count, together):
            laid = [(number, Spot(0.0, 0.0))]
            if number in in_bore:
                laid.insert(0, (in_bore[number], _middle(shape, parts[in_bore[number]][0])))
            if together == 2 and first + 1 < count:
                laid.append((number, Spot(step, 0.0, turned=True)))
            width = shape.width + (step if len(laid) > 1 and step else 0.0)
            yield _Block(width, shape.height, tuple(laid))


def _pair_step(shape: Shape, gap: float) -> float:
    """How far along the turned part of a pair lies, 0 where the shape makes none. The two edges
    that face each other run `shape.slope` across over the height; `gap` is square to them."""
    if not shape.pair:
        return 0.0
    slanted = math.hypot(shape.slope * shape.width, shape.height) / shape.height
    return shape.pair * shape.width + gap * slanted


def _in_bore(parts: Sequence[tuple[Shape, int]]) -> dict[int, int]:
    """Which part each of a ring's bores holds, by their numbers."""
    rings = [n for n, (shape, _) in enumerate(parts) if shape.bore]
    return {
        ring: number
        for ring in rings
        for number, (shape, _) in enumerate(parts)
        if shape.round_outline and number != ring and shape.width < parts[ring][0].bore
    }


def _middle(ring: Shape, inside: Shape) -> Spot:
    return Spot((ring.width - inside.width) / 2, (ring.height - inside.height) / 2)
