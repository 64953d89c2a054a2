"""Arcs of a sample as a short strip of ink. Pure; the rule for an arc's height is the day's."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import sqrt

from planning.calc.translated import ngettext
from shopfloor.svg.strip import Svg

_WIDTH, _LANE, _FOOT, _RISE, _LONG_S = 1000.0, 60.0, 6.0, 38.0, 180.0
_LEAST_PX = 1.5


@dataclass(frozen=True, slots=True)
class SampleArc:
    """`off_us` None: its end is not in the sample, or its line was lost."""

    torch: str
    on_us: int
    off_us: int | None


def sample_strip(arcs: Sequence[SampleArc], most: int = 2_000) -> Svg | None:
    """A lane for each torch, over the time from the first arc to the last; None without arcs.
    An arc whose end is unknown is an open outline as wide as it can be seen."""
    arcs = sorted(arcs, key=lambda arc: arc.on_us)[:most]
    if not arcs:
        return None
    start = arcs[0].on_us
    end = max(max(arc.off_us or arc.on_us for arc in arcs), start + 1_000_000)
    px_us = _WIDTH / (end - start)
    torches = sorted({arc.torch for arc in arcs})
    lanes = []
    for index, torch in enumerate(torches):
        base = (index + 1) * _LANE - 8
        mine = [arc for arc in arcs if arc.torch == torch]
        lanes.append(f'<path class="base" stroke-width="1.25" d="M0 {base:g}H{_WIDTH:g}"/>')
        lanes += [_bar(arc, start, px_us, base) for arc in mine]
    height = len(torches) * _LANE
    words = ngettext(
        "{arcs} arcs on {torches} torch", "{arcs} arcs on {torches} torches", len(torches)
    ).format(arcs=len(arcs), torches=len(torches))
    return Svg(
        f'<svg class="ink strip" viewBox="0 0 {_WIDTH:g} {height:g}" width="100%" '
        f'preserveAspectRatio="none" height="{height:g}" role="img" aria-label="{words}">'
        f"{''.join(lanes)}</svg>"
    )


def _bar(arc: SampleArc, start: int, px_us: float, base: float) -> str:
    burnt_us = (arc.off_us or arc.on_us) - arc.on_us
    height = _FOOT + _RISE * sqrt(min(burnt_us / 1e6, _LONG_S) / _LONG_S)
    x, width = (arc.on_us - start) * px_us, max(burnt_us * px_us, _LEAST_PX)
    kind = "arc open" if arc.off_us is None else "arc"
    x = min(x, _WIDTH - width)
    return (
        f'<rect class="{kind}" x="{x:.1f}" y="{base - height:.1f}" width="{width:.1f}" '
        f'height="{height:.1f}"/>'
    )
