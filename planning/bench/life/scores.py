"""How what was said of pieces' ends came true."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from planning.calc.life.left import Left
from planning.calc.life.pit import Reading


@dataclass(frozen=True, slots=True)
class Said:
    """What was said of one piece, and how many starts more it gave. `ended`: by its own wear; else
    it was taken out and would have given more. The former rule: `rule`, with its range if any."""

    left: Left | None
    gave: float
    ended: bool
    rule: float | None
    rule_range: tuple[float, float] | None
    moment: float  # share of its life that was over


def former_rule(
    starts: float, rated: int | None, readings: Sequence[Reading], limit_mm: float
) -> tuple[float | None, tuple[float, float] | None]:
    """What pages said before lives were learned: rated starts less used, or where the pit says
    sooner, by the last pit's rate; a range from two pits on."""
    told = [one for one in readings if one.pit_mm > 0 and one.starts > 0]
    by_pit = [max(0.0, limit_mm / (one.pit_mm / one.starts) - starts) for one in told]
    by_rate = None if rated is None else max(0.0, rated - starts)
    if by_pit and (by_rate is None or by_pit[-1] <= by_rate):
        return by_pit[-1], (min(by_pit), max(by_pit)) if len(by_pit) > 1 else None
    return by_rate, None


def inside(left: Left, level: float, gave: float, *, ended: bool) -> float:
    """1 or 0 where the end was seen; else the chance, by the forecast itself, that the end lay
    within, given that it came later than the piece was watched."""
    low, high = left.between(level)
    if ended:
        return float(low <= gave <= high)
    rest = left.reaches(gave)
    if rest <= 0:
        return 0.0
    return max(0.0, left.reaches(max(gave, low)) - left.reaches(high)) / rest


def sooner(said: float, left: Left | None, gave: float, *, ended: bool) -> float:
    """Whether it ended before what was said; of one taken out, the chance by the forecast."""
    if ended or gave >= said or left is None:
        return float(ended and gave < said)
    rest = left.reaches(gave)
    return (rest - left.reaches(said)) / rest if rest > 0 else 0.0


def summed(said: Sequence[Said]) -> dict[str, Any]:
    """Shares over pieces. `ended` counts those whose end was seen."""
    told = [one for one in said if one.left is not None]
    seen = [one for one in said if one.ended]
    rules = [one for one in seen if one.rule is not None]
    ranges = [one for one in seen if one.rule_range is not None]
    return {
        "n": len(said),
        "ended": len(seen),
        "before": {
            "sooner": _mean([float(one.gave < (one.rule or 0)) for one in rules]),
            "ranges": len(ranges),
            "held": _mean(
                [float(one.rule_range[0] <= one.gave <= one.rule_range[1])
                 for one in ranges if one.rule_range is not None]
            ),
        },
        "after": {
            "said": len(told),
            "sooner": _mean(
                [sooner(one.left.median, one.left, one.gave, ended=one.ended)
                 for one in told if one.left]
            ),
            "held_80": _held(told, 0.8),
            "held_90": _held(told, 0.9),
            "held_90_ended": _held([one for one in told if one.ended], 0.9),
            "width": _mean([_width(one.left) for one in told if one.left]),
        },
    }  # fmt: skip


def _held(said: Sequence[Said], level: float) -> float | None:
    return _mean([inside(one.left, level, one.gave, ended=one.ended) for one in said if one.left])


def _width(left: Left) -> float:
    low, high = left.between(0.9)
    return high - low


def _mean(values: Sequence[float]) -> float | None:
    return sum(values) / len(values) if values else None
