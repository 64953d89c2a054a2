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

from planning.calc.translated import gettext as _
from planning.calc.translated import gettext_noop as N_
from planning.calc.translated import ngettext
from shopfloor.svg.label_spot import label_spot

PartState = Literal["planned", "burnt", "good", "scrap", "not-cut"]
Point = tuple[float, float]
SAID: dict[PartState, str] = {
    "planned": N_("not yet cut"),
    "burnt": N_("cut, not yet judged"),
    "good": N_("good"),
    "scrap": N_("scrap"),
    "not-cut": N_("left uncut"),
}
HATCHED: dict[PartState, str] = {"burnt": "h-plan", "scrap": "h-off"}
DIGIT_EM = 0.55
LEAST_FONT_PX = 9.0  # a number that would be smaller is left to the list beside the map
EDGE_PX = 6.0
LEAST_STEP_PX = 0.3


class Svg(str):
    """Finished markup, every label in it escaped: templates print it as it is."""

    __slots__ = ()

    def __html__(self) -> str:
        return self


@dataclass(frozen=True, slots=True)
class Part:
    """One part: its outline first, then its holes, without their leads, which are drawn thin and
    enclose nothing. `url` makes it a link (to choose it)."""

    number: str
    contours: tuple[tuple[Point, ...], ...]
    state: PartState = "planned"
    selected: bool = False
    url: str = ""
    name: str = ""
    leads: tuple[tuple[Point, ...], ...] = ()

    @property
    def words(self) -> str:
        named = f"{self.number} {self.name}".strip()
        told = _("{named}, {state}, chosen") if self.selected else "{named}, {state}"
        return told.format(named=named, state=_(SAID[self.state]))


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
    xs, ys = [x for x, _y in points], [y for _x, y in points]
    return Box(min(xs), min(ys), max(xs), max(ys))


def map_label(parts: Sequence[Part]) -> str:
    """The map in a sentence: how many of each state, in the order of the work."""
    counts = Counter(part.state for part in parts)
    told = [f"{counts[state]} {_(words)}" for state, words in SAID.items() if counts[state]]
    return ngettext(
        "Map of {count} part: {told}.", "Map of {count} parts: {told}.", len(parts)
    ).format(count=len(parts), told=", ".join(told))


def parts_map(
    parts: Sequence[Part],
    sheet_mm: tuple[float, float] | None = None,
    width: int = 900,
    font_px: float = 18,
    least_px: float = LEAST_FONT_PX,
) -> Svg:
    """The nest to scale in px. `sheet_mm` is the sheet's length and width from X0 Y0, drawn as
    its edge; without it the map ends at the parts. A number that would be under `least_px` is
    left to the list beside the map. Raises ValueError for no parts or points."""
    box = extents([contour for part in parts for contour in part.contours])
    if sheet_mm is not None:
        box = extents([((0.0, 0.0), sheet_mm), ((box.x_min, box.y_min), (box.x_max, box.y_max))])
    place = Placing(box, width)
    drawn = "" if sheet_mm is None else _sheet(sheet_mm, place)
    drawn += "".join(_part(part, place, font_px, least_px) for part in parts)
    # A map that holds links is a list of them to a screen reader, not one picture.
    role = "group" if any(part.url for part in parts) else "img"
    return Svg(
        f'<svg class="ink parts-map" viewBox="0 0 {width} {n(place.height)}" width="{width}" '
        f'height="{n(place.height)}" role="{role}" aria-label="{escape(map_label(parts))}">'
        f"{drawn}</svg>"
    )


@dataclass(frozen=True, slots=True)
class Placing:
    """From mm on the sheet to px on the page, Y turned down, a small edge left all round."""

    box: Box
    width: float

    @property
    def px_per_mm(self) -> float:
        return (self.width - 2 * EDGE_PX) / max(self.box.width, 1e-9)

    @property
    def height(self) -> float:
        return self.box.height * self.px_per_mm + 2 * EDGE_PX

    def x(self, x_mm: float) -> float:
        return EDGE_PX + (x_mm - self.box.x_min) * self.px_per_mm

    def y(self, y_mm: float) -> float:
        return EDGE_PX + (self.box.y_max - y_mm) * self.px_per_mm

    def path(self, contour: Sequence[Point]) -> list[Point]:
        """`x` and `y` of each point, the scale worked out once: a map has thousands."""
        left, top, scale = self.box.x_min, self.box.y_max, self.px_per_mm
        return [(EDGE_PX + (x - left) * scale, EDGE_PX + (top - y) * scale) for x, y in contour]


def n(value: float) -> str:
    """A length in px to a hundredth."""
    short = f"{value:.2f}".rstrip("0").rstrip(".")
    return "0" if short == "-0" else short


def _sheet(sheet_mm: tuple[float, float], place: Placing) -> str:
    length, across = sheet_mm
    return (
        f'<rect class="plate" x="{n(place.x(0))}" y="{n(place.y(across))}" '
        f'width="{n(length * place.px_per_mm)}" height="{n(across * place.px_per_mm)}"/>'
    )


def _part(part: Part, place: Placing, font_px: float, least_px: float) -> str:
    d = "".join(_path(contour, place) for contour in part.contours)
    css = f"{part.state}{' selected' if part.selected else ''}"
    inside = f'<title>{escape(part.words)}</title><path class="part" fill-rule="evenodd" d="{d}"/>'
    if part.leads:
        inside += f'<path class="lead" d="{"".join(_path(lead, place) for lead in part.leads)}"/>'
    if hatch := HATCHED.get(part.state):
        inside += f'<path class="wash" fill-rule="evenodd" fill="url(#{hatch})" d="{d}"/>'
    own = extents(part.contours)
    left, right, top, low = (
        n(v)
        for v in (place.x(own.x_min), place.x(own.x_max), place.y(own.y_max), place.y(own.y_min))
    )
    if part.state == "scrap":
        inside += (
            f'<path class="strike" d="M{left} {top}L{right} {low}M{left} {low}L{right} {top}"/>'
        )
    inside += _number(part, place, font_px, least_px)
    if part.url:
        return (
            f'<a class="{css}" href="{escape(part.url)}" aria-label="{escape(part.words)}">'
            f"{inside}</a>"
        )
    return f'<g class="{css}">{inside}</g>'


def _path(contour: Sequence[Point], place: Placing) -> str:
    if not contour:
        return ""
    turned = [f"{n(x)} {n(y)}" for x, y in _seen(place.path(contour))]
    closed = len(contour) > 2 and contour[0] == contour[-1]
    return "M" + "L".join(turned[:-1] if closed else turned) + ("z" if closed else "")


def _seen(points: list[Point]) -> list[Point]:
    """The points less those too near the one before to be seen apart; both ends stay."""
    kept = points[:1]
    for x, y in points[1:-1]:
        if abs(x - kept[-1][0]) + abs(y - kept[-1][1]) >= LEAST_STEP_PX:
            kept.append((x, y))
    return kept + points[1:][-1:]


def _number(part: Part, place: Placing, font_px: float, least_px: float) -> str:
    own = label_spot(next(contour for contour in part.contours if contour))
    wide, high = own.wide * place.px_per_mm, own.high * place.px_per_mm
    digits = max(len(part.number), 1)
    size = min(font_px, high * 0.8, wide * 0.8 / (DIGIT_EM * digits))
    if size < least_px:
        return ""
    x, y = place.x(own.x), place.y(own.y) + size * 0.35
    return (
        f'<text x="{n(x)}" y="{n(y)}" text-anchor="middle" style="font-size:{n(size)}px">'
        f"{escape(part.number)}</text>"
    )
