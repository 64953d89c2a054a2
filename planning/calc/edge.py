"""The edge a route will leave: u with its range against what is asked, and what the next step
makes of it in words."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from statistics import fmean, stdev
from typing import Literal

from planning.calc.quality import THICKEST_MM, THINNEST_MM, u_limits_mm, u_range
from planning.calc.said import said
from planning.calc.student import student_t

NEEDED = 5  # our assumption: fewer checks say too little of a spread
RANGE = 0.9
LEAST_U_MM = 0.01  # our assumption: what a shop's gauge reads; a smaller u is taken as this

Basis = Literal["checks", "chart", "unknown"]
Verdict = Literal["not_asked", "meets", "may_not", "fails", "unknown"]
RANKS: dict[Verdict, int] = {"not_asked": 0, "meets": 0, "may_not": 1, "unknown": 2, "fails": 3}


@dataclass(frozen=True, slots=True)
class PredictedU:
    """u of the next cut, mm. `low_mm` and `high_mm` are the ends of the 90 % interval and None
    where fewer than `needed` checks were measured: then `u_mm` is the chart's, or unknown."""

    u_mm: float | None
    low_mm: float | None
    high_mm: float | None
    checks: int
    needed: int
    basis: Basis


def predict_u(checked_mm: Sequence[float], chart_mm: float | None = None) -> PredictedU:
    """Predict u of the next cut from checks of like cuts.

    `checked_mm` are measured u of the same set, material and thickness, mm, none below 0;
    `chart_mm` is what the shop's chart expects. ln u is taken as normal: the interval is
    exp(m -+ t s sqrt(1 + 1/n)), Student's t with n - 1 degrees of freedom (the usual prediction
    interval for one more value, e.g. ISO 16269-8); the middle is the median exp(m). Our assumption
    is that checks are independent: two off one run with a tired nozzle are less than two.
    """
    if any(not (math.isfinite(u) and u >= 0) for u in checked_mm):
        raise ValueError(said("u must be a number not below zero"))
    count = len(checked_mm)
    if count < NEEDED:
        basis: Basis = "unknown" if chart_mm is None else "chart"
        return PredictedU(chart_mm, None, None, count, NEEDED, basis)
    logs = [math.log(max(u, LEAST_U_MM)) for u in checked_mm]
    middle, spread = fmean(logs), stdev(logs)
    wide = student_t(0.5 + RANGE / 2, count - 1) * spread * math.sqrt(1 + 1 / count)
    low, high = math.exp(middle - wide), math.exp(middle + wide)
    return PredictedU(math.exp(middle), low, high, count, NEEDED, "checks")


def asked_limit_mm(asked: int | None, thickness_mm: float) -> float | None:
    """Upper limit of the asked u range (1 to 5) in mm; None where nothing is asked, or where
    ISO 9013 does not class the thickness."""
    if asked is None or not THINNEST_MM <= thickness_mm <= THICKEST_MM:
        return None
    limits = u_limits_mm(thickness_mm)
    if not 1 <= asked <= len(limits):
        raise ValueError(
            said("u range {asked} is none of 1 to {count}", asked=asked, count=len(limits))
        )
    return limits[asked - 1]


def verdict(found: PredictedU, asked: int | None, thickness_mm: float) -> Verdict:
    """Whether a cut meets the asked range. "meets" wants the upper end of the interval inside;
    "may_not" is a middle inside with an end outside, or a chart's figure that nobody has measured;
    without any figure it is unknown."""
    if asked is None:
        return "not_asked"
    limit = asked_limit_mm(asked, thickness_mm)
    if limit is None or found.u_mm is None:
        return "unknown"
    if found.u_mm > limit:
        return "fails"
    return "meets" if found.high_mm is not None and found.high_mm <= limit else "may_not"


def range_words(found: PredictedU, thickness_mm: float) -> str:
    """The u ranges the interval spans: "u range 2", "u range 2 to 3", "outside"; blank where u or
    its class is not known."""
    if found.u_mm is None or not THINNEST_MM <= thickness_mm <= THICKEST_MM:
        return ""
    ends = [found.u_mm] if found.low_mm is None else [found.low_mm, found.high_mm or 0.0]
    classes = list(dict.fromkeys(u_range(end, thickness_mm) for end in ends))
    low, high = classes[0], classes[-1]
    if low is None:
        return said("outside")
    if low == high:
        return said("u range {low}", low=low)
    if high is None:
        return said("u range {low} to outside", low=low)
    return said("u range {low} to {high}", low=low, high=high)


def edge_words(next_step: str, gas: str, *, by_bench: bool) -> str:
    """What the next step makes of a plasma edge. Common practice, no source."""
    step, cut_with = next_step.strip().lower(), gas.strip().lower()
    clean = said("with the bench minutes shown") if by_bench else said("not in these minutes")
    if step.startswith("weld"):
        if "air" in cut_with or "nitrogen" in cut_with or cut_with == "n2":
            return said(
                "weld: an edge cut with {cut_with} may hold nitrogen; grind it against "
                "pores, {clean}",
                cut_with=cut_with,
                clean=clean,
            )
        return said("weld: take off dross and oxide, {clean}", clean=clean)
    if step.startswith("bend"):
        return said(
            "bend: dross marks the dies and a hard edge may crack; clean the bend, {clean}",
            clean=clean,
        )
    if step.startswith(("coat", "powder", "paint", "galv")):
        return said(
            "coat: oxide lifts the coat and a sharp edge thins it; grind and break, {clean}",
            clean=clean,
        )
    if step in ("hidden", "none"):
        return said("hidden edge: nothing")
    return (
        said("next step {step}: ask them what they take", step=step)
        if step
        else said("no next step is named")
    )
