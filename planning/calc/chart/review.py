"""A look over a whole chart for rows that cannot be, or hardly."""

from __future__ import annotations

import itertools
import math
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from planning.calc.chart.energy import cutting_efficiency, is_impossible, unlikely
from planning.calc.chart.types import ChartRow
from planning.calc.said import said
from planning.calc.units import looks_like_inch_mix

# How far a row may lie off the line through its neighbours and still be read as a 25.4 mix: our
# assumption, since speeds bend in thickness.
_SLACK: Final = 0.35


@dataclass(frozen=True, slots=True)
class Finding:
    """A doubt about one row; ``impossible`` is worse than unlikely."""

    line: int
    text: str
    impossible: bool = False


def review(rows: Sequence[ChartRow]) -> list[Finding]:
    """Doubts about a chart in order of line: energy, speed that rises with thickness, a 25.4 ratio
    between a row's speed and what its neighbours suggest."""
    found: list[Finding] = []
    for row in rows:
        efficiency = cutting_efficiency(row)
        if efficiency is None:
            continue
        if is_impossible(row, efficiency):
            text = said(
                "needs {efficiency:.2f} times the power the arc has (volts x amps)",
                efficiency=efficiency,
            )
            found.append(Finding(row.line, text, impossible=True))
        elif doubt := unlikely(efficiency):
            found.append(Finding(row.line, doubt))
    groups: dict[tuple[str, str, str], list[ChartRow]] = defaultdict(list)
    for row in rows:
        groups[row.set, row.material, row.gas].append(row)
    for group in groups.values():
        group.sort(key=lambda row: row.thickness_mm)
        found.extend(_mixed(group))
        found.extend(
            Finding(thick.line, said("faster than the thinner row on line {line}", line=thin.line))
            for thin, thick in itertools.pairwise(group)
            if thick.speed_mm_min > thin.speed_mm_min
        )
    return sorted(found, key=lambda finding: finding.line)


def _mixed(group: list[ChartRow]) -> list[Finding]:
    found: list[Finding] = []
    for i, row in enumerate(group):
        others = group[:i] + group[i + 1 :]
        if len(others) < 2:
            continue
        one, other = sorted(
            sorted(others, key=lambda o: abs(math.log(o.thickness_mm / row.thickness_mm)))[:2],
            key=lambda o: o.thickness_mm,
        )
        span = math.log(other.thickness_mm / one.thickness_mm)
        if span == 0 or looks_like_inch_mix(one.speed_mm_min, other.speed_mm_min, _SLACK):
            continue
        slope = math.log(other.speed_mm_min / one.speed_mm_min) / span
        guess = one.speed_mm_min * (row.thickness_mm / one.thickness_mm) ** slope
        if looks_like_inch_mix(row.speed_mm_min, guess, _SLACK):
            text = said(
                "its speed and its neighbours' are 25.4 apart: inches and mm may be mixed up"
            )
            found.append(Finding(row.line, text))
    return found
