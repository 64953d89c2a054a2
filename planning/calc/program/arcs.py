"""Circular arcs in the XY plane, in mm.

Source: NISTIR 6556 section 3.5.3 and the arc routines of its last source release.
"""

from __future__ import annotations

import math

from planning.calc.said import said

TOLERANCE_MM = 0.002
TOLERANCE_IN_MM = 0.0002 * 25.4
COINCIDENT_MM = 1e-6
# Of a start, an end and a centre each rounded by half a step along both axes, two radii differ by
# 2 sqrt(2) steps at most; no slip of the pen is passed for that.
STEPS = 2.83
MOST_ROUNDED_MM = 0.1

ROUNDED_NOTE = said(
    "an arc starts and ends at two radii, as the program's own decimals explain: their mean counts"
)

Arc = tuple[float, float, float, float]


def rounded_tolerance_mm(strict_mm: float, step_mm: float) -> float:
    """By how much two radii may differ in a program whose last decimal is ``step_mm``."""
    return max(strict_mm, min(STEPS * step_mm, MOST_ROUNDED_MM))


class ArcError(ValueError):
    """The words of an arc describe none; the message says why."""


def from_centre(
    x0: float, y0: float, x1: float, y1: float, cx: float, cy: float,
    *, clockwise: bool, tolerance_mm: float,
) -> Arc:  # fmt: skip
    """(cx, cy, signed sweep in rad, radius) of an arc about a centre.

    Start and end radius may differ by ``tolerance_mm``; the radius is their mean. An end on the
    start is a full circle. Raises ``ArcError``.
    """
    r0, r1 = math.hypot(x0 - cx, y0 - cy), math.hypot(x1 - cx, y1 - cy)
    if r0 < COINCIDENT_MM or r1 < COINCIDENT_MM:
        raise ArcError(said("the centre of the arc is on its start or end"))
    if abs(r0 - r1) > tolerance_mm * (1 + 1e-9):
        raise ArcError(
            said(
                "the radius is {r0:.4f} mm at the start of the arc and {r1:.4f} mm at "
                "its end, {r02:.4f} mm apart; they may differ by {tolerance_mm:.4g} mm",
                r0=r0,
                r1=r1,
                r02=abs(r0 - r1),
                tolerance_mm=tolerance_mm,
            )
        )
    full = math.hypot(x1 - x0, y1 - y0) < COINCIDENT_MM
    turn = math.atan2(y1 - cy, x1 - cx) - math.atan2(y0 - cy, x0 - cx)
    sweep = math.tau if full else (-turn if clockwise else turn) % math.tau
    return cx, cy, (-sweep if clockwise else sweep), (r0 + r1) / 2


def from_radius(
    x0: float, y0: float, x1: float, y1: float, radius: float,
    *, clockwise: bool, tolerance_mm: float,
) -> Arc:  # fmt: skip
    """(cx, cy, signed sweep in rad, radius) of an arc by its radius.

    A positive radius is an arc of 180 degrees or less, a negative one of more. A full circle cannot
    be written so. Raises ``ArcError``.
    """
    r = abs(radius)
    chord = math.hypot(x1 - x0, y1 - y0)
    if chord < COINCIDENT_MM:
        raise ArcError(said("an arc by R may not end where it starts; a full circle needs I and J"))
    if chord / 2 - r > tolerance_mm:
        raise ArcError(
            said(
                "radius {r:.4f} mm is too small to reach an end {chord:.4f} mm away",
                r=r,
                chord=chord,
            )
        )
    r = max(r, chord / 2)
    half = math.asin(min(1.0, chord / (2 * r)))
    sweep = 2 * half if radius > 0 else math.tau - 2 * half
    height = math.sqrt(max(0.0, r * r - chord * chord / 4))
    side = -1.0 if clockwise == (radius > 0) else 1.0
    cx = (x0 + x1) / 2 - side * height * (y1 - y0) / chord
    cy = (y0 + y1) / 2 + side * height * (x1 - x0) / chord
    return cx, cy, (-sweep if clockwise else sweep), r
