"""Whether one plate's thickness may stand for another's: the same, near, or neither. One rule; each
caller says which of the two it accepts."""

from __future__ import annotations

from enum import IntEnum
from typing import Final

from django.db.models import Q

EQUAL_MM: Final = 1e-6  # the same number: of two chart rows, or what a person said of one
SAME_MM: Final = 0.01  # the same plate, written in mm or in inches
NEAR_SHARE: Final = 0.1  # of the thinner: 6 mm plate may stand in for 1/4 in, 8 mm may not


class PlateFit(IntEnum):
    NO = 0
    NEAR = 1
    SAME = 2


def fit(one_mm: float, other_mm: float) -> PlateFit:
    """How two thicknesses in mm fit; it makes no difference which is which."""
    off = abs(one_mm - other_mm)
    if off <= SAME_MM:
        return PlateFit.SAME
    return PlateFit.NEAR if off <= NEAR_SHARE * min(one_mm, other_mm) else PlateFit.NO


def is_equal(one_mm: float, other_mm: float) -> bool:
    """Whether two thicknesses in mm are the same number."""
    return abs(one_mm - other_mm) <= EQUAL_MM


def fitting_mm(thickness_mm: float, accepts: PlateFit) -> tuple[float, float]:
    """The thinnest and the thickest that fit at least so well."""
    low, high = thickness_mm - SAME_MM, thickness_mm + SAME_MM
    if accepts is PlateFit.NEAR:
        share = 1 + NEAR_SHARE
        low, high = min(low, thickness_mm / share), max(high, thickness_mm * share)
    return low, high


def plates_fitting(material: int, thickness_mm: float, accepts: PlateFit) -> Q:
    """Sheets, lines or chart rows of that material (an id) whose thickness fits."""
    return Q(material=material, thickness_mm__range=fitting_mm(thickness_mm, accepts))


def equal_mm(thickness_mm: float) -> tuple[float, float]:
    """The range that is the same number, for a query."""
    return thickness_mm - EQUAL_MM, thickness_mm + EQUAL_MM
