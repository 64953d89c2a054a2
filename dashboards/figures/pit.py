"""How deep a pit has grown, by starts. Depth runs down the page, as the pit does."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from html import escape

from django.utils.translation import gettext as _

from dashboards.lengths import depth_said, thick
from planning.calc.numbers import filled, written
from planning.calc.units import MM_PER_IN, in_from_mm
from shopfloor.svg.strip import Svg

NARROW_BELOW = 460
Place = Callable[[float], float]


@dataclass(frozen=True, slots=True)
class Point:
    starts: int
    pit_mm: float
    label: str = ""


@dataclass(frozen=True, slots=True)
class Usual:
    """mm of pit for a start, as fitted to pieces like it; 80 in 100 readings lie between."""

    mm: float
    low: float
    high: float


@dataclass(frozen=True, slots=True)
class PitChart:
    """`now` are measurements of this piece, `before` of pieces like it. `left` with its range is
    what the outlook says of the starts still to come."""

    limit_mm: float
    now: tuple[Point, ...]
    before: tuple[Point, ...] = ()
    starts: int | None = None
    left: int | None = None
    low: int | None = None
    high: int | None = None
    inch: bool = False
    usual: Usual | None = None


def pit_figure(chart: PitChart, width: int = 478, height: int = 420) -> Svg:
    """Starts along the top, depth down. Drawn only with one measurement or more."""
    left, top, right, bottom = 46, 40, width - 12, height - 44
    reach = _reach(chart)
    deepest = max([chart.limit_mm * 1.15, *(p.pit_mm * 1.05 for p in (*chart.now, *chart.before))])

    def x(starts: float) -> float:
        return left + (right - left) * starts / reach

    def y(mm: float) -> float:
        return top + (bottom - top) * mm / deepest

    parts = _frame(x, y, chart, reach, (left, top, right, bottom))
    parts += _usual(chart, x, y, reach)
    parts += _crosses([(x(p.starts), y(p.pit_mm)) for p in chart.before])
    path = [(0.0, 0.0), *((float(p.starts), p.pit_mm) for p in chart.now)]
    if len(path) > 1:
        line = "L".join(f"{x(s):.1f} {y(mm):.1f}" for s, mm in path)
        parts.append(f'<path class="pace" d="M{line}"/>')
    parts += [
        f'<circle class="fact" cx="{x(p.starts):.1f}" cy="{y(p.pit_mm):.1f}" r="4.5"/>'
        for p in chart.now
    ]
    if chart.now:
        last = chart.now[-1]
        words = depth_said(last.pit_mm, inch=chart.inch)
        words += f", {last.label}" if last.label else ""
        end = x(last.starts) > (left + right) / 2
        lift = 18 if y(last.pit_mm) < top + 24 else -8
        parts.append(
            f'<text class="lab b" x="{x(last.starts) + (-10 if end else 10):.1f}" '
            f'y="{y(last.pit_mm) + lift:.1f}" text-anchor="{"end" if end else "start"}">'
            f"{escape(words)}</text>"
        )
    parts += _outlook(chart, x, y, (left, right, bottom))
    css = "narrow" if width < NARROW_BELOW else "wide"
    return Svg(
        f'<svg class="ink strip pit {css}" viewBox="0 0 {width} {height}" width="{width}" '
        f'height="{height}" role="img" aria-label="{escape(said(chart))}">{"".join(parts)}</svg>'
    )


def said(chart: PitChart) -> str:
    """The chart in a sentence."""
    if not chart.now:
        return _("No pit was measured on this electrode.")
    last = chart.now[-1]
    pit, limit = depth_said(last.pit_mm, inch=chart.inch), thick(chart.limit_mm, inch=chart.inch)
    words = (
        _("Pit {pit} after {starts} starts; limit {limit}.")
        if chart.left is None
        else _("Pit {pit} after {starts} starts; limit {limit}; about {left} starts left.")
    )
    return words.format(pit=pit, starts=last.starts, limit=limit, left=chart.left)


def _reach(chart: PitChart) -> float:
    ends = [p.starts for p in (*chart.now, *chart.before)]
    if chart.starts is not None:
        ends.append(chart.starts + max(chart.high or chart.left or 0, 0))
    return max([*ends, 50]) * 1.06


def _frame(
    x: Place, y: Place, chart: PitChart, reach: float, box: tuple[int, int, int, int]
) -> list[str]:
    left, top, right, bottom = box
    parts = []
    step_mm = 0.4 if chart.limit_mm >= 1 else 0.1
    if chart.inch:
        step_mm = MM_PER_IN * (0.01 if chart.limit_mm >= 1 else 0.005)
    mm = 0.0
    while y(mm) <= bottom and mm < chart.limit_mm - 1e-9:
        parts.append(
            f'<path class="feint" d="M{left} {y(mm):.1f}H{right}"/>'
            f'<text class="tick" x="{left - 8}" y="{y(mm) + 4:.1f}" text-anchor="end">'
            f"{_tick(mm, chart)}</text>"
        )
        mm += step_mm
    step = _step(reach)
    for starts in range(0, int(reach) + 1, step):
        parts.append(
            f'<path class="feint" d="M{x(starts):.1f} {top}v-5"/><text class="tick" '
            f'x="{x(starts):.1f}" y="{top - 10}" text-anchor="middle">{written(starts, ",")}</text>'
        )
    at = y(chart.limit_mm)
    change = _("change at {limit}").format(limit=thick(chart.limit_mm, inch=chart.inch))
    parts.append(
        f'<path class="base" stroke-width="2" d="M{left} {top}H{right}"/>'
        f'<rect fill="url(#h-stop)" x="{left}" y="{at:.1f}" width="{right - left}" '
        f'height="{bottom - at:.1f}"/><path class="limit" d="M{left} {at:.1f}H{right}"/>'
        f'<text class="tick em" x="{left - 8}" y="{at + 4:.1f}" text-anchor="end">'
        f"{_tick(chart.limit_mm, chart)}</text>"
        f'<text class="lab b" x="{left + 4}" y="{at - 6:.1f}">'
        f"{escape(change)}</text>"
    )
    return parts


def _usual(chart: PitChart, x: Place, y: Place, reach: float) -> list[str]:
    """How deep pits of pieces like it are by their starts: the fitted line, and the hatch that 80
    in 100 stay within, down to the limit."""
    if chart.usual is None:
        return []

    def end(slope: float) -> tuple[float, float]:
        return min(reach, chart.limit_mm / slope), min(chart.limit_mm, slope * reach)

    fast, slow = end(chart.usual.high), end(chart.usual.low)
    corner = [(reach, chart.limit_mm)] if slow[1] < chart.limit_mm == fast[1] else []
    around = "L".join(f"{x(s):.1f} {y(mm):.1f}" for s, mm in [(0.0, 0.0), fast, *corner, slow])
    at = end(chart.usual.mm)
    return [
        f'<path class="range" fill="url(#h-plan)" d="M{around}Z"/>',
        f'<path class="usual" d="M{x(0):.1f} {y(0):.1f}L{x(at[0]):.1f} {y(at[1]):.1f}"/>',
    ]


def _tick(mm: float, chart: PitChart) -> str:
    return written(in_from_mm(mm), ".3f") if chart.inch else written(mm, ".1f")


def _step(reach: float) -> int:
    for step in (10, 20, 50, 100, 200, 500, 1000, 2000, 5000):
        if reach / step <= 8:
            return step
    return 10_000


def _crosses(places: Sequence[tuple[float, float]]) -> list[str]:
    """One path, however many there are."""
    drawn = "".join(f"M{x - 4:.1f} {y - 4:.1f}l8 8m0 -8l-8 8" for x, y in places)
    return [f'<path class="history" d="{drawn}"/>'] if drawn else []


def _outlook(chart: PitChart, x: Place, y: Place, box: tuple[int, int, int]) -> list[str]:
    """Where the limit is reached, with its range, as far as the outlook tells."""
    left, right, bottom = box
    if chart.starts is None or chart.left is None:
        return []
    end = chart.starts + max(chart.left, 0)
    at, base = x(end), y(chart.limit_mm)
    parts = []
    if chart.now:
        last = chart.now[-1]
        parts.append(
            f'<path class="forecast" d="M{x(last.starts):.1f} {y(last.pit_mm):.1f}L{at:.1f} '
            f'{base:.1f}"/>'
        )
    parts.append(f'<path class="median" d="M{at:.1f} {base:.1f}V{bottom + 6}"/>')
    words = filled(_("reached at {end:,} starts: {left:,} left"), end=end, left=chart.left)
    if chart.low is not None and chart.high is not None:
        low, high = x(chart.starts + chart.low), x(chart.starts + chart.high)
        parts.append(
            f'<path class="bracket" d="M{low:.1f} {bottom + 2}v8M{high:.1f} {bottom + 2}v8'
            f'M{low:.1f} {bottom + 6}H{high:.1f}"/>'
        )
        words = filled(
            _("reached at {end:,} starts ({low:,}–{high:,}): {left:,} left"),
            end=end,
            low=chart.starts + chart.low,
            high=chart.starts + chart.high,
            left=chart.left,
        )
    anchor = "end" if at > (left + right) / 2 else "start"
    edge = right if anchor == "end" else left
    parts.append(
        f'<text class="lab b" x="{edge}" y="{bottom + 28}" text-anchor="{anchor}">{words}</text>'
    )
    return parts
