"""Kaplan-Meier survival with Greenwood's error, with late entry.

A piece censored at an age is still at risk for those that end at it; one that entered at an age is
not. Range: log(-log S), which stays within 0 and 1. Kalbfleisch & Prentice 2002, 1.4.
"""

from __future__ import annotations

import math
from bisect import bisect_left
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from statistics import NormalDist

from planning.calc.life.records import Life, watched


@dataclass(frozen=True, slots=True)
class Step:
    """From `age` on `share` still burn. `error`: standard error; None where it cannot be told."""

    age: float
    share: float
    error: float | None
    low: float
    high: float
    at_risk: int
    ended: int


def survival(lives: Sequence[Life], level: float = 0.95) -> list[Step]:
    """Steps at each age at which pieces ended, in order."""
    told = watched(lives)
    z = NormalDist().inv_cdf((1 + level) / 2)
    share, terms = 1.0, 0.0
    steps = []
    entered, out = sorted(life.entered for life in told), sorted(life.age for life in told)
    ends = Counter(life.age for life in told if life.ended)
    for age, ended in sorted(ends.items()):
        at_risk = bisect_left(entered, age) - bisect_left(out, age)
        share *= 1 - ended / at_risk
        if share <= 0:
            steps.append(Step(age, 0.0, None, 0.0, 0.0, at_risk, ended))
            continue
        terms += ended / (at_risk * (at_risk - ended))
        root = z * math.sqrt(terms) / math.log(share)
        low, high = share ** math.exp(-root), share ** math.exp(root)
        steps.append(Step(age, share, share * math.sqrt(terms), low, high, at_risk, ended))
    return steps


def hazard_to(lives: Sequence[Life], age: float) -> float:
    """Nelson-Aalen cumulative hazard."""
    return sum(step.ended / step.at_risk for step in survival(lives) if step.age <= age)


def median(steps: Sequence[Step]) -> float | None:
    """The first age at which half or fewer still burn; None: more than half did to the end."""
    return next((step.age for step in steps if step.share <= 0.5 + 1e-12), None)
