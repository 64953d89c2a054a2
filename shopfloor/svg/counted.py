"""Failures counted up over weeks, against what was expected with its range. Pure."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from planning.calc.numbers import filled, written
from planning.calc.translated import gettext as _
from planning.calc.translated import ngettext
from shopfloor.svg.plot import Plot, Points, step_of
from shopfloor.svg.strip import Svg

WET_Y = 12.0  # of crosses above the base, px


@dataclass(frozen=True, slots=True)
class Counted:
    """Times in seconds. `failed`: when each failure came; `expected`, `low`, `high`: counted up to
    a time; `wet`: weeks in which water was not drained; `ticks`: times and their words. `more`:
    failures of late are more than chance."""

    first: float
    last: float
    failed: Sequence[float]
    expected: Points
    low: Points
    high: Points
    wet: Sequence[float]
    ticks: Sequence[tuple[float, str]]
    more: bool = False


def counted_figure(told: Counted, width: int, height: int = 250) -> Svg:
    count = len(told.failed)
    top = max([count, *(y for _x, y in told.high), 4]) * 1.08
    plot = Plot(width, height, told.first, told.last, top)
    step = step_of(top, 5)
    levels = [(float(at), written(at)) for at in range(0, int(top) + 1, step)]
    ticks = told.ticks if width >= 460 else told.ticks[::2]
    ink = [(told.first, 0.0)]
    ink += [(at, float(number)) for number, at in enumerate(sorted(told.failed), 1)]
    ink.append((told.last, float(count)))
    parts = [
        plot.heights(levels),
        plot.band(told.low, told.high),
        plot.line(told.expected, "forecast"),
        plot.steps(ink, "over" if told.more else "pace"),
        *(_cross(plot.x(at), plot.base - WET_Y) for at in told.wet),
        plot.feet(ticks, _("failures counted up, by week")),
        *_labels(plot, told, count),
    ]
    return plot.svg(parts, "counted", sentence(told))


def _labels(plot: Plot, told: Counted, count: int) -> list[str]:
    """How many failed and were expected, at the right end; kept apart where they would meet."""
    failed = ngettext("{n} failed", "{n} failed", count).format(n=count)
    at = plot.y(count) - 6
    said = [plot.words(plot.end, at, failed, "over" if told.more else "told", "end")]
    if told.expected:
        mean = told.expected[-1][1]
        under = plot.y(mean) + 16
        if abs(under - at) < 16:
            under = at + (16 if mean < count else -16)
        words = filled(_("{mean:.1f} expected"), mean=mean)
        said.append(plot.words(plot.end, min(under, plot.base - 4), words, "mean", "end"))
    return said


def _cross(x: float, y: float) -> str:
    return f'<path class="wet" d="M{x - 4:.1f} {y - 4:.1f}l8 8m0 -8l-8 8"/>'


def sentence(told: Counted) -> str:
    """The drawing in words."""
    count = len(told.failed)
    words = [ngettext("{n} failed over these weeks.", "{n} failed over these weeks.", count)
             .format(n=count)]  # fmt: skip
    if told.expected:
        words.append(
            filled(
                _("About {mean:.1f} were expected, {low} to {high} in 90 of 100."),
                mean=told.expected[-1][1], low=round(told.low[-1][1]), high=round(told.high[-1][1]),
            )
        )  # fmt: skip
    if told.wet:
        words.append(
            ngettext(
                "Water was not drained in {n} of the weeks.",
                "Water was not drained in {n} of the weeks.",
                len(told.wet),
            ).format(n=len(told.wet))
        )
    return " ".join(words)
