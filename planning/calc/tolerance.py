"""Limit deviations of ISO 9013:2017, tolerance classes 1 and 2.

Class 1: as read, its empty cells put back in place from the 2002 table. Class 2: as read up to 20
mm; above that from memory of the 2002 edition. Compare both with a bought copy.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final, Literal

from planning.calc.said import said

Sure = Literal["read", "memory"]

# Nominal sizes from the lower bound up to, and without, the upper.
SIZES_MM: Final = (0, 3, 10, 35, 125, 315, 1000, 2000, 4000, 6000, 8000)
# Thicknesses without the lower bound, up to and with the upper.
_THICKNESS_MM: Final = (1, 3.15, 6.3, 10, 15, 20, 25, 32, 50, 100, 150)
_NONE: Final = None

_Row = tuple[float | None, ...]

_CLASS_1: Final[tuple[_Row, ...]] = (
    (0.075, 0.10, 0.10, 0.20, 0.20, 0.30, 0.40, 0.65, 0.90, 1.60),
    (0.10, 0.15, 0.20, 0.25, 0.25, 0.35, 0.40, 0.65, 1.00, 1.75),
    (0.20, 0.20, 0.25, 0.25, 0.30, 0.40, 0.45, 0.70, 1.10, 1.90),
    (_NONE, 0.25, 0.30, 0.30, 0.35, 0.45, 0.55, 0.75, 1.25, 2.20),
    (_NONE, 0.30, 0.35, 0.40, 0.45, 0.55, 0.65, 0.85, 1.50, 2.50),
    (_NONE, 0.40, 0.40, 0.45, 0.55, 0.75, 0.85, 1.2, 1.90, 2.80),
    (_NONE, 0.45, 0.50, 0.60, 0.70, 0.90, 1.10, 1.60, 2.40, 3.25),
    (_NONE, _NONE, 0.70, 0.70, 0.80, 1.0, 1.6, 2.25, 3.00, 4.00),
    (_NONE, _NONE, 0.7, 0.7, 0.8, 1.0, 1.6, 2.5, 3.8, 5.0),
    (_NONE, _NONE, 1.3, 1.3, 1.4, 1.7, 2.2, 3.1, 4.4, 5.6),
    (_NONE, _NONE, 1.9, 2.0, 2.1, 2.3, 2.9, 3.8, 5.1, 6.3),
)
_OVER_10: Final[_Row] = (_NONE, 1.8, 1.8, 1.8, 1.9, 2.3, 3.0, 4.2, 4.3, 4.5)
_OVER_20: Final[_Row] = (_NONE, 1.8, 1.8, 1.8, 1.9, 2.3, 3.0, 4.2, _NONE, _NONE)
_CLASS_2: Final[tuple[_Row, ...]] = (
    (0.5, 0.6, 0.6, 0.7, 0.7, 0.8, 0.9, 0.9, _NONE, _NONE),
    (0.6, 0.6, 0.7, 0.7, 0.8, 0.9, 1.0, 1.1, 1.4, 1.4),
    (0.7, 0.8, 0.9, 0.9, 1.1, 1.2, 1.3, 1.3, 1.6, 1.6),
    (_NONE, 1.0, 1.1, 1.3, 1.4, 1.5, 1.6, 1.7, 1.9, 2.0),
    _OVER_10,
    _OVER_10,
    _OVER_20,
    _OVER_20,
    _OVER_20,
    (_NONE, _NONE, 2.5, 2.5, 2.6, 3.0, 3.7, 4.9, _NONE, _NONE),
    (_NONE, _NONE, 3.2, 3.3, 3.4, 3.7, 4.4, 5.7, _NONE, _NONE),
)
_READ_UP_TO_MM: Final = {1: 150.0, 2: 20.0}


@dataclass(frozen=True, slots=True)
class LimitDeviation:
    """Plus and minus ``mm``, and how sure the figure is."""

    mm: float
    sure: Sure


def limit_deviation(
    nominal_mm: float, thickness_mm: float, tolerance_class: int
) -> LimitDeviation | None:
    """The limit deviation for a nominal size and a cut thickness in mm, class 1 or 2.

    None where the table has no figure or we do not have it: unknown, not zero. Raises
    ``ValueError`` for another class or a size that is not above zero.
    """
    table = {1: _CLASS_1, 2: _CLASS_2}.get(tolerance_class)
    if table is None:
        raise ValueError(
            said(
                "tolerance class {tolerance_class} is neither 1 nor 2",
                tolerance_class=tolerance_class,
            )
        )
    if not (nominal_mm > 0 and thickness_mm > 0):
        raise ValueError(said("a size and a thickness must be above zero"))
    if thickness_mm > _THICKNESS_MM[-1] or nominal_mm >= SIZES_MM[-1]:
        return None
    row = next(i for i, upper in enumerate(_THICKNESS_MM) if thickness_mm <= upper)
    column = next(i for i, upper in enumerate(SIZES_MM[1:]) if nominal_mm < upper)
    mm = table[row][column]
    if mm is None:
        return None
    return LimitDeviation(
        mm, "read" if thickness_mm <= _READ_UP_TO_MM[tolerance_class] else "memory"
    )
