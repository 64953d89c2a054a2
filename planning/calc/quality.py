"""Classing of plasma cuts after ISO 9013:2017.

Range formulas as read in three independent copies (range 5 of u in two). What is marked "from
memory" has not been seen in print: compare it with a bought copy before it is shown as the
standard's word. Measuring, from memory: on clean cuts away from start, end, corners and small
radii; u as three measurements 20 mm apart on each metre, Rz5 once a metre over 15 mm.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

from planning.calc.said import said

THINNEST_MM: Final = 0.5
THICKEST_MM: Final = 150.0
ON_LIMIT: Final = 1e-9

# u <= a0 + a1 a (mm); Rz5 <= a0 + a1 a (micrometres); a is the cut thickness in mm.
_U_MM: Final = ((0.05, 0.003), (0.15, 0.007), (0.4, 0.01), (0.8, 0.02), (1.2, 0.035))
_RZ5_UM: Final = ((10.0, 0.6), (40.0, 0.8), (70.0, 1.2), (110.0, 1.8))

# Edge strip left out at the top and at the bottom when u is measured: (up to a mm, strip in mm).
# From memory; a stored table agrees up to 20 mm.
_STRIP_MM: Final = (
    (6.0, 0.3), (10.0, 0.6), (20.0, 1.0), (40.0, 1.5), (100.0, 2.0), (150.0, 3.0),
)  # fmt: skip


class QualityError(ValueError):
    """A cut that ISO 9013 does not class, or a measurement that cannot be."""


@dataclass(frozen=True, slots=True)
class CutClass:
    """Ranges of one measured cut; None is outside the last range.

    ``designation`` is None where a range is: the standard's 0 in its place means "not asked", and
    a cut outside the ranges is not that.
    """

    u_range: int | None
    rz5_range: int | None
    designation: str | None


def u_limits_mm(thickness_mm: float) -> tuple[float, ...]:
    """Upper limits of u in mm for ranges 1 to 5 at a cut thickness of 0.5 to 150 mm."""
    _check_thickness(thickness_mm)
    return tuple(base + slope * thickness_mm for base, slope in _U_MM)


def rz5_limits_um(thickness_mm: float) -> tuple[float, ...]:
    """Upper limits of Rz5 in micrometres for ranges 1 to 4, 0.5 to 150 mm."""
    _check_thickness(thickness_mm)
    return tuple(base + slope * thickness_mm for base, slope in _RZ5_UM)


def u_range(u_mm: float, thickness_mm: float) -> int | None:
    """Range 1 to 5 of u, None above range 5; a value on the limit (within 1e-9) is inside."""
    return _range(u_mm, u_limits_mm(thickness_mm), "u")


def rz5_range(rz5_um: float, thickness_mm: float) -> int | None:
    """Range 1 to 4 of Rz5, None above range 4; a value on the limit (within 1e-9) is inside."""
    return _range(rz5_um, rz5_limits_um(thickness_mm), "Rz5")


def classify(u_mm: float, rz5_um: float, thickness_mm: float, tolerance_class: int = 0) -> CutClass:
    """Ranges and designation (``ISO 9013-342``; a third digit of 0: no tolerance class asked)."""
    if tolerance_class not in (0, 1, 2):
        raise QualityError(
            said(
                "tolerance class {tolerance_class} is none of 0 (not asked), 1 and 2",
                tolerance_class=tolerance_class,
            )
        )
    u, rz5 = u_range(u_mm, thickness_mm), rz5_range(rz5_um, thickness_mm)
    whole = u is not None and rz5 is not None
    return CutClass(u, rz5, f"ISO 9013-{u}{rz5}{tolerance_class}" if whole else None)


def edge_strip_mm(thickness_mm: float) -> float:
    """The strip at the top and at the bottom that u leaves out, in mm (0.5 to 150 mm)."""
    _check_thickness(thickness_mm)
    if thickness_mm <= 3:
        return 0.1 * thickness_mm
    return next(strip for upper, strip in _STRIP_MM if thickness_mm <= upper)


def u_from_angle_mm(angle_deg: float, thickness_mm: float) -> float:
    """u in mm of a straight bevel: (a - 2 strip) tan(angle off square), angle below 90 deg."""
    if not abs(angle_deg) < 90:
        raise QualityError(
            said("{angle_deg:g} degrees off square is not a bevel", angle_deg=angle_deg)
        )
    return _measured_mm(thickness_mm) * math.tan(math.radians(abs(angle_deg)))


def u_from_sizes_mm(top_mm: float, bottom_mm: float, thickness_mm: float) -> float:
    """u in mm from a part's or hole's size at the top and at the bottom, for two like straight
    bevels: each side runs off by half the difference over the whole thickness."""
    if not (top_mm > 0 and bottom_mm > 0):
        raise QualityError(said("sizes at the top and the bottom must be above zero"))
    return _measured_mm(thickness_mm) * abs(top_mm - bottom_mm) / 2 / thickness_mm


def kerf_correction_mm(nominal_mm: float, measured_mm: float, *, hole: bool) -> float:
    """How far to move the torch path outwards from the metal, per side, in mm.

    (nominal - measured) / 2 for an outside size, reversed for a hole: a part too small and a hole
    too large both ask for more. Common practice, no source.
    """
    difference = (nominal_mm - measured_mm) / 2
    return -difference if hole else difference


def _measured_mm(thickness_mm: float) -> float:
    return thickness_mm - 2 * edge_strip_mm(thickness_mm)


def _range(value: float, limits: tuple[float, ...], name: str) -> int | None:
    if not (math.isfinite(value) and value >= 0):
        raise QualityError(
            said("{name} must be a number not below zero, not {value:g}", name=name, value=value)
        )
    for number, limit in enumerate(limits, 1):
        if value <= limit + ON_LIMIT:
            return number
    return None


def _check_thickness(thickness_mm: float) -> None:
    if not THINNEST_MM <= thickness_mm <= THICKEST_MM:
        raise QualityError(
            said(
                "thickness {thickness_mm:g} mm is outside the {thinnest_mm:g} to "
                "{thickest_mm:g} mm that ISO 9013 covers for plasma cutting",
                thickness_mm=thickness_mm,
                thinnest_mm=THINNEST_MM,
                thickest_mm=THICKEST_MM,
            )
        )
