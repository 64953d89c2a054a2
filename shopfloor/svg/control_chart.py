"""An individuals chart as a drawing: single values above, their moving ranges below. Pure."""

from __future__ import annotations

from collections.abc import Sequence
from html import escape

from planning.calc.control import Control
from planning.calc.numbers import written
from planning.calc.translated import gettext as _
from shopfloor.svg.parts_map import Svg

WIDE, LEFT, RIGHT = 900.0, 64.0, 150.0
LINE_PX = 15.0
UPPER, GAP, LOWER, TOP, FOOT = 210.0, 34.0, 90.0, 14.0, 26.0
Line = tuple[float, str]


def control_chart(
    control: Control, *, unit: str, digits: int, lines: Sequence[Line] = (), what: str = ""
) -> Svg:
    """`lines` are further heights to draw with their words, such as the limits a drawing asks;
    those far above what is drawn are left out. Figures print with `digits` places."""
    low, high = _span([*control.values, control.upper, max(control.lower, 0.0)], lines)
    upper = _Pane(TOP, UPPER, low, high)
    most = max([*control.moving, control.range_upper]) * 1.1 or 1.0
    lower = _Pane(TOP + UPPER + GAP, LOWER, 0.0, most)
    marks = set(control.beyond) | set(control.one_side)
    jumps = {place + 1 for place in control.jumps}
    count = len(control.values)
    height = TOP + UPPER + GAP + LOWER + FOOT
    ruled = [(y, words, "asked") for y, words in lines if low <= y <= high]
    ruled += [(control.centre, _("mean"), "mean"), (control.upper, _("limit"), "limit")]
    if control.lower > low:
        ruled.append((control.lower, _("limit"), "limit"))
    ranges = [
        (control.range_mean, _("mean range"), "mean"),
        (control.range_upper, _("limit"), "limit"),
    ]
    ranged, oldest, newest = _("range"), _("oldest"), _("newest")
    drawn = [
        *upper.ruled(ruled, digits),
        upper.path(control.values, 0, count),
        *(upper.dot(v, i, count, i in marks) for i, v in enumerate(control.values)),
        *lower.ruled(ranges, digits),
        lower.path(control.moving, 1, count),
        *(lower.dot(v, i + 1, count, i + 1 in jumps) for i, v in enumerate(control.moving)),
        f'<text class="tick" x="0" y="{TOP + 4:.0f}">{escape(unit)}</text>',
        f'<text class="tick" x="0" y="{TOP + UPPER + GAP + 4:.0f}">{escape(ranged)}</text>',
        f'<text class="tick" x="{LEFT}" y="{height - 6:.0f}">{escape(oldest)}</text>',
        f'<text class="tick" x="{WIDE - RIGHT:.0f}" y="{height - 6:.0f}" text-anchor="end">'
        f"{escape(newest)}</text>",
    ]
    return Svg(
        f'<svg class="ink control" viewBox="0 0 {WIDE:.0f} {height:.0f}" width="100%" role="img" '
        f'aria-label="{escape(sentence(control, unit=unit, digits=digits, what=what))}">'
        f"{''.join(drawn)}</svg>"
    )


def sentence(control: Control, *, unit: str, digits: int, what: str) -> str:
    """The chart in words."""
    off = len(set(control.beyond) | set(control.one_side)) + len(control.jumps)
    told = {
        "what": what or _("Values"),
        "count": len(control.values),
        "mean": f"{written(control.centre, f'.{digits}f')} {unit}",
        "most": f"{written(control.upper, f'.{digits}f')} {unit}",
        "off": off,
    }
    if control.in_control:
        return _(
            "{what}, {count} measured: mean {mean}, usual up to {most}; none stands out."
        ).format(**told)
    return _("{what}, {count} measured: mean {mean}, usual up to {most}; {off} stand out.").format(
        **told
    )


class _Pane:
    def __init__(self, top: float, tall: float, low: float, high: float) -> None:
        self.top, self.tall, self.low, self.high = top, tall, low, high

    def y(self, value: float) -> float:
        return self.top + self.tall * (self.high - value) / (self.high - self.low)

    def ruled(self, heights: Sequence[tuple[float, str, str]], digits: int) -> list[str]:
        """Lines with their words beside them; words that would meet move apart."""
        drawn, free = [], self.top - 100.0
        for value, words, kind in sorted(heights, key=lambda one: -one[0]):
            y = self.y(value)
            free = max(y + 4, free + LINE_PX)
            drawn.append(
                f'<path class="{kind}" d="M{LEFT:.0f} {y:.1f}H{WIDE - RIGHT:.0f}"/>'
                f'<text class="tick" x="{WIDE - RIGHT + 8:.0f}" y="{free:.1f}">'
                f"{escape(words)} {written(value, f'.{digits}f')}</text>"
            )
        return drawn

    def path(self, values: Sequence[float], first: int, count: int) -> str:
        points = " ".join(
            f"{_x(first + i, count):.1f},{self.y(value):.1f}" for i, value in enumerate(values)
        )
        return f'<polyline class="trace" points="{points}"/>'

    def dot(self, value: float, place: int, count: int, off: bool) -> str:
        x, y = _x(place, count), self.y(value)
        if not off:
            return f'<circle class="dot" cx="{x:.1f}" cy="{y:.1f}" r="3.5"/>'
        return (
            f'<circle class="ring" cx="{x:.1f}" cy="{y:.1f}" r="8"/>'
            f'<circle class="dot off" cx="{x:.1f}" cy="{y:.1f}" r="4"/>'
        )


def _x(place: int, count: int) -> float:
    return LEFT + 10 + (WIDE - LEFT - RIGHT - 20) * place / max(count - 1, 1)


def _span(values: Sequence[float], lines: Sequence[Line]) -> tuple[float, float]:
    low, high = min(values), max(values)
    reach = (high - low) or abs(high) or 1.0
    near = [y for y, _words in lines if y <= high + reach * 0.6]
    high = max([high, *near])
    return low - reach * 0.06, high + reach * 0.08
