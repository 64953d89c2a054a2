"""When today's work really ends: the plan of what is left, scaled by what recent runs took."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from statistics import NormalDist, fmean, stdev

from planning.calc.said import said

NEEDED = 5  # our assumption: fewer runs than this say too little of a spread
RANGE = 0.8


@dataclass(frozen=True, slots=True)
class Outlook:
    """Seconds from now until the work ends: the middle and the ends of the 80 % range. `plan_s` is
    the plan unscaled. Below `needed` runs only the plan is known and the rest is None."""

    plan_s: float
    middle_s: float | None
    low_s: float | None
    high_s: float | None
    runs: int
    needed: int
    basis: str


def forecast(rest_s: Sequence[float], ratios: Sequence[float]) -> Outlook:
    """Forecast the end of the runs still to burn.

    `rest_s` is the plan of each (of the current one, what is left of it), s; `ratios` are recent
    runs' actual / plan, each above 0. ln(ratio) is taken as normal and runs as independent: the
    sum's spread is that of a lognormal of the same mean and variance, widened by the error of the
    mean, with Student's t for the number of runs. Stoppages are in it as far as they were in the
    recent runs. Our method; it does not hold where the work ahead is unlike the work behind.
    """
    plan_s = math.fsum(rest_s)
    logs = [math.log(ratio) for ratio in ratios if ratio > 0]
    count = len(logs)
    if count < NEEDED:
        basis = said(
            "plan only: {count} recent runs, {needed} needed for a range",
            count=count,
            needed=NEEDED,
        )
        return Outlook(plan_s, None, None, None, count, NEEDED, basis)
    mean, sigma = fmean(logs), stdev(logs)
    basis = said("plan x {mean:.2f}, from the last {count} runs", mean=math.exp(mean), count=count)
    if plan_s <= 0:
        return Outlook(0.0, 0.0, 0.0, 0.0, count, NEEDED, basis)
    concentration = math.fsum(each * each for each in rest_s) / plan_s**2
    spread2 = math.log1p(concentration * math.expm1(sigma**2))
    middle = plan_s * math.exp(mean + sigma**2 / 2 - spread2 / 2)
    wide = student_t(0.5 + RANGE / 2, count - 1) * math.sqrt(spread2 + sigma**2 / count)
    return Outlook(
        plan_s, middle, middle * math.exp(-wide), middle * math.exp(wide), count, NEEDED, basis
    )


def student_t(chance: float, freedom: int) -> float:
    """Quantile of Student's t by its expansion about the normal's (Cornish-Fisher, Abramowitz and
    Stegun 26.7.5). For chance .9 within 0.2 % from 4 degrees of freedom on; not for fewer."""
    z = NormalDist().inv_cdf(chance)
    first = (z**3 + z) / 4
    second = (5 * z**5 + 16 * z**3 + 3 * z) / 96
    third = (3 * z**7 + 19 * z**5 + 17 * z**3 - 15 * z) / 384
    return z + first / freedom + second / freedom**2 + third / freedom**3
