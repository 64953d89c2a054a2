"""The parts of a nest as a map: every contour where it lies on the sheet, its number on it, and
what became of it shown by line, hatch and words.

Points are mm with Y upward, as in the cut program; the drawing turns Y down.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from html import escape
from typing import Literal

PartState = Literal["planned", "burnt", "good", "scrap", "not-cut"]
Point = tuple[float, float]
SAID: dict[PartState, str] = {
    "planned": "not yet cut",
    "burnt": "cut, not yet judged",
    "good": "good",
    "scrap": "scrap",
    "not-cut": "left uncut",
}
HATCHED: dict[PartState, str] = {"burnt": "h-plan", "scrap": "h-off"}
LEAST_LABEL = 0.55  # a number is left out of the drawing where it would be wider than its part


class Svg(str):
    """Finished markup, every label in it escaped: templates print it as it is."""

    __slots__ = ()

    def __html__(self) -> str:
        return self


@dataclass(frozen=True, slots=True)
class Part:
    """One part: its outline first, then its holes. `url` makes it a link (to choose it)."""

    number: str
    contours: tuple[tuple[Point, ...], ...]
    state: PartState = "planned"
    selected: bool = False
    url: str = ""
    name: str = ""

    @property
    def words(self) -> str:
        named = f"{self.number} {self.name}".strip()
        return f"{named}, {SAID[self.state]}" + (", chosen" if self.selected else "")


@dataclass(frozen=True, slots=True)
class Box:
    x_min: float
    y_min: float
    x_max: float
    y_max: float

    @property
    def width(self) -> float:
        return self.x_max - self.x_min

    @property
    def height(self) -> float:
        return self.y_max - self.y_min


def extents(contours: Sequence[Sequence[Point]]) -> Box:
    """Smallest box around the points, in mm. Raises ValueError when there are none."""
    points = [p for contour in contours for p in contour]
    if not points:
        raise ValueError("no points to draw")
    xs, ys = [x for x, _ in points], [y for _, y in points]
    return Box(min(xs), min(ys), max(xs), max(ys))


def map_label(parts: Sequence[Part]) -> str:
    """The map in a sentence: how many of each state, in the order of the work."""
    counts = Counter(part.state for part in parts)
    told = [f"{counts[state]} {words}" for state, words in SAID.items() if counts[state]]
    return f"Map of {len(parts)} part{'' if len(parts) == 1 else 's'}: {', '.join(told)}."


def parts_map(
    parts: Sequence[Part], sheet_mm: tuple[float, float] | None = None, width: int = 900
) -> Svg:
    """The nest to scale. `sheet_mm` is the sheet's length and width from X0 Y0, drawn as its
    edge; without it the map ends at the parts. Raises ValueError for no parts or no points."""
    box = extents([contour for part in parts for contour in part.contours])
    if sheet_mm is not None:
        corners = ((0.0, 0.0), sheet_mm)
        box = extents([corners, [(box.x_min, box.y_min), (box.x_max, box.y_max)]])
    pad = max(box.width, box.height, 1.0) * 0.01
    view_w, view_h = box.width + 2 * pad, box.height + 2 * pad
    mm_per_px = view_w / width
    drawn = "" if sheet_mm is None else _sheet(sheet_mm, box)
    drawn += "".join(_part(part, box, 17 * mm_per_px) for part in parts)
    # A map that holds links is a list of them to a screen reader, not one picture.
    role = "group" if any(part.url for part in parts) else "img"
    return Svg(
        f'<svg class="ink parts-map" viewBox="{n(-pad)} {n(-pad)} {n(view_w)} {n(view_h)}" '
        f'width="{width}" height="{n(view_h / mm_per_px)}" role="{role}" '
        f'aria-label="{escape(map_label(parts))}">{drawn}</svg>'
    )


def n(value: float) -> str:
    """A length in mm to a hundredth."""
    short = f"{value:.2f}".rstrip("0").rstrip(".")
    return "0" if short == "-0" else short


def _sheet(sheet_mm: tuple[float, float], box: Box) -> str:
    x, y = -box.x_min, box.y_max - sheet_mm[1]
    return (
        f'<rect class="plate" x="{n(x)}" y="{n(y)}" width="{n(sheet_mm[0])}" '
        f'height="{n(sheet_mm[1])}"/>'
    )


def _part(part: Part, box: Box, font_mm: float) -> str:
    d = "".join(_path(contour, box) for contour in part.contours)
    css = f"{part.state}{' selected' if part.selected else ''}"
    inside = f'<title>{escape(part.words)}</title><path class="part" fill-rule="evenodd" d="{d}"/>'
    if hatch := HATCHED.get(part.state):
        inside += f'<path class="wash" fill-rule="evenodd" fill="url(#{hatch})" d="{d}"/>'
    own = extents(part.contours)
    left, right = own.x_min - box.x_min, own.x_max - box.x_min
    top, low = box.y_max - own.y_max, box.y_max - own.y_min
    if part.state == "scrap":
        inside += (
            f'<path class="strike" d="M{n(left)} {n(top)}L{n(right)} {n(low)}'
            f'M{n(left)} {n(low)}L{n(right)} {n(top)}"/>'
        )
    inside += _number(part, (left + right) / 2, (top + low) / 2, own, font_mm)
    if part.url:
        return (
            f'<a class="{css}" href="{escape(part.url)}" aria-label="{escape(part.words)}">'
            f"{inside}</a>"
        )
    return f'<g class="{css}">{inside}</g>'


def _path(contour: Sequence[Point], box: Box) -> str:
    if not contour:
        return ""
    turned = [f"{n(x - box.x_min)} {n(box.y_max - y)}" for x, y in contour]
    closed = len(contour) > 2 and contour[0] == contour[-1]
    return "M" + "L".join(turned[:-1] if closed else turned) + ("z" if closed else "")


def _number(part: Part, x: float, y: float, own: Box, font_mm: float) -> str:
    size = min(font_mm, own.height * 0.8, own.width * 0.8 / (LEAST_LABEL * len(part.number) or 1))
    if size < font_mm * 0.5:
        return ""
    return (
        f'<text x="{n(x)}" y="{n(y + size * 0.35)}" text-anchor="middle" '
        f'stroke-width="{n(size * 0.22)}" style="font-size:{n(size)}px">'
        f"{escape(part.number)}</text>"
    )
