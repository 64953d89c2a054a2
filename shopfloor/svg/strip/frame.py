"""Where things stand on a strip of a given width, and how tall and wide an arc is."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from itertools import chain
from math import sqrt
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

US = 1_000_000
LONG_S = 180.0  # arcs of three minutes and more have full height
MERGE_PX = 0.7  # arcs narrower than this blur; neighbours are drawn as one bar
NEAR_PX = 1.5  # how far apart neighbours may stand and still share a bar
LEAST_PX = 0.35  # a lone short arc is drawn at least this wide


@dataclass(frozen=True, slots=True)
class Frame:
    """Heights in px from the top. `pace_y` None leaves the pace lane out."""

    width: float
    height: float
    lane: float
    base: float
    foot: float
    rise: float
    pace_y: float | None = None
    px_per_min: float = 0.75
    under: bool = True  # run brackets and their labels under the line
    ticks_inside: bool = False
    labels: bool = True
    font: float = 13.5

    def arc_height(self, arc_s: float) -> float:
        """Height in px of an arc of `arc_s` seconds: foot + rise * sqrt(min(s, 180) / 180)."""
        return self.foot + self.rise * sqrt(min(max(arc_s, 0.0), LONG_S) / LONG_S)


def wide(width: float) -> Frame:
    return Frame(width, 148, lane=66, base=112, foot=6, rise=38, pace_y=24)


def narrow(width: float) -> Frame:
    return Frame(
        width, 106, lane=42, base=86, foot=6, rise=38, pace_y=16,
        px_per_min=0.5, under=False, ticks_inside=True, font=13,
    )  # fmt: skip


def compact(width: float) -> Frame:
    return Frame(
        width, 40, lane=4, base=34, foot=4, rise=22,
        under=False, labels=False, font=13,
    )  # fmt: skip


def zoomed(width: float) -> Frame:
    """Low enough to leave a tablet lying down room for two questions under it."""
    return Frame(width, 138, lane=40, base=108, foot=8, rise=58, under=False, font=18)


@dataclass(frozen=True, slots=True)
class Scale:
    """Times to px over the window; linear in elapsed time, so a 25-hour day is 25 hours wide."""

    start_us: int
    end_us: int
    width: float

    def x(self, at_us: int) -> float:
        return (at_us - self.start_us) * self.width / (self.end_us - self.start_us)

    def clip(self, from_us: int, to_us: int) -> tuple[float, float] | None:
        """The part of a span inside the window as px, or None if it lies outside."""
        a, b = max(from_us, self.start_us), min(to_us, self.end_us)
        return None if b < a or to_us < self.start_us else (self.x(a), self.x(b))


class Bar(NamedTuple):
    x: float
    width: float
    height: float
    arcs: int = 1


Spans = tuple[NDArray[np.int64], NDArray[np.int64]]  # starts and ends, in order


def span_arrays(spans_us: Iterable[tuple[int, int]]) -> Spans:
    """Spans as arrays, once for all widths they are drawn at."""
    flat = np.fromiter(chain.from_iterable(sorted(spans_us)), dtype=np.int64)
    return flat[::2], flat[1::2]


def bars(spans: Spans, scale: Scale, frame: Frame) -> list[Bar]:
    """Bars for arcs in time order. Neighbouring short arcs share one bar as wide as their time
    together, as tall as their time-weighted mean, so the ink on the page still adds up to the
    arc time; only a lone short arc is widened, to LEAST_PX."""
    out: list[Bar] = []
    arcs, first, right = 0, 0.0, 0.0  # of the group under way
    covered = weighted = heights = 0.0
    for left, width, height in _measured(spans, scale, frame):
        wide = width >= MERGE_PX
        if arcs and (wide or left - right > NEAR_PX or covered >= MERGE_PX):
            out.append(_one(first, right, covered, weighted, heights, arcs))
            arcs, covered, weighted, heights = 0, 0.0, 0.0, 0.0
        if wide:
            out.append(Bar(left, width, height))
            continue
        if not arcs:
            first = left
        arcs += 1
        right = left + width
        covered += width
        weighted += height * width
        heights += height
    if arcs:
        out.append(_one(first, right, covered, weighted, heights, arcs))
    return out


def _measured(spans: Spans, scale: Scale, frame: Frame) -> Iterable[tuple[float, float, float]]:
    """Left, width and height of each arc in the window, worked out in arrays: a page of ten tables
    has 40,000 of them."""
    on, off = spans
    inside = (off >= scale.start_us) & (on <= scale.end_us) & (off >= on)
    on, off = on[inside], off[inside]
    whole = scale.end_us - scale.start_us
    left = (np.maximum(on, scale.start_us) - scale.start_us) * scale.width / whole
    right = (np.minimum(off, scale.end_us) - scale.start_us) * scale.width / whole
    height = frame.foot + frame.rise * np.sqrt(np.minimum((off - on) / US, LONG_S) / LONG_S)
    return zip(left.tolist(), (right - left).tolist(), height.tolist(), strict=True)


def _one(
    first: float, right: float, covered: float, weighted: float, heights: float, arcs: int
) -> Bar:
    """One bar for a group between two px, from its sums of width, height x width and height."""
    height = weighted / covered if covered > 0 else heights / arcs
    width = max(covered, LEAST_PX)
    return Bar((first + right - width) / 2, width, height, arcs)
