"""The frame of a line drawing: two axes with their ticks, steps, lines and hatched bands. Pure."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from html import escape

from shopfloor.svg.strip import Svg

NARROW_BELOW = 460
STEPS = (1, 2, 5, 10, 20, 50, 100, 200, 500, 1000, 2000, 5000, 10_000, 20_000, 50_000)
Points = Sequence[tuple[float, float]]


def step_of(reach: float, most: int) -> int:
    """The step of round ticks of which `most` fit into the reach."""
    return next((step for step in STEPS if reach / step <= most), STEPS[-1])


@dataclass(frozen=True, slots=True)
class Plot:
    """Sizes in px; x runs from `first` to `last`, y from 0 up to `top`."""

    width: int
    height: int
    first: float
    last: float
    top: float
    left: int = 40
    right: int = 14
    above: int = 14
    below: int = 40

    def x(self, value: float) -> float:
        span = (self.last - self.first) or 1.0
        return self.left + (self.width - self.left - self.right) * (value - self.first) / span

    def y(self, value: float) -> float:
        tall = self.height - self.above - self.below
        return self.above + tall * (1 - value / (self.top or 1.0))

    @property
    def base(self) -> float:
        return self.y(0)

    @property
    def end(self) -> int:
        return self.width - self.right

    def heights(self, ticks: Sequence[tuple[float, str]]) -> str:
        """Light lines across with their words at the left."""
        return "".join(
            f'<path class="feint" d="M{self.left} {self.y(at):.1f}H{self.end}"/>'
            f'<text class="tick" x="{self.left - 8}" y="{self.y(at) + 4:.1f}" '
            f'text-anchor="end">{escape(words)}</text>'
            for at, words in ticks
        )

    def feet(self, ticks: Sequence[tuple[float, str]], title: str) -> str:
        """The base line with its ticks, and what they are."""
        drawn = [
            f'<path class="base" stroke-width="2" d="M{self.left} {self.base:.1f}H{self.end}"/>'
        ]
        for place, (at, words) in enumerate(ticks):
            anchor = "start" if place == 0 and self.x(at) < self.left + 20 else "middle"
            anchor = "end" if self.x(at) > self.end - 20 else anchor
            drawn.append(
                f'<path class="base" d="M{self.x(at):.1f} {self.base:.1f}v5"/>'
                f'<text class="tick" x="{self.x(at):.1f}" y="{self.base + 18:.1f}" '
                f'text-anchor="{anchor}">{escape(words)}</text>'
            )
        drawn.append(
            f'<text class="tick" x="{self.end}" y="{self.base + 34:.1f}" text-anchor="end">'
            f"{escape(title)}</text>"
        )
        return "".join(drawn)

    def line(self, points: Points, css: str) -> str:
        if len(points) < 2:
            return ""
        way = "L".join(f"{self.x(x):.1f} {self.y(y):.1f}" for x, y in points)
        return f'<path class="{css}" d="M{way}"/>'

    def steps(self, points: Points, css: str) -> str:
        """Level until each point, then at once to its height."""
        if not points:
            return ""
        way = [f"M{self.x(points[0][0]):.1f} {self.y(points[0][1]):.1f}"]
        way += [f"H{self.x(x):.1f}V{self.y(y):.1f}" for x, y in points[1:]]
        return f'<path class="{css}" d="{"".join(way)}"/>'

    def band(self, lower: Points, upper: Points) -> str:
        """What lies between two lines, hatched."""
        if len(lower) < 2 or len(upper) < 2:
            return ""
        around = [*upper, *reversed(lower)]
        way = "L".join(f"{self.x(x):.1f} {self.y(y):.1f}" for x, y in around)
        return f'<path class="range" fill="url(#h-plan)" d="M{way}Z"/>'

    def words(self, x: float, y: float, text: str, css: str = "lab", anchor: str = "start") -> str:
        """Text at a place in px."""
        return (
            f'<text class="{css}" x="{x:.1f}" y="{y:.1f}" text-anchor="{anchor}">'
            f"{escape(text)}</text>"
        )

    def svg(self, parts: Sequence[str], name: str, label: str) -> Svg:
        css = "narrow" if self.width < NARROW_BELOW else "wide"
        return Svg(
            f'<svg class="ink strip plot {name} {css}" viewBox="0 0 {self.width} {self.height}" '
            f'width="{self.width}" height="{self.height}" role="img" aria-label="{escape(label)}">'
            f"{''.join(parts)}</svg>"
        )
