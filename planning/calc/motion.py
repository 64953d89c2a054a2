"""How long moves take on a table that must speed up and slow down."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

Corner = Literal["stop", "blend"]


@dataclass(frozen=True, slots=True)
class TableMotion:
    """A table's motion: acceleration in mm/s2, rapid in mm/min.

    ``corner`` overrides the program's G61/G64; ``tolerance_mm`` is how far a blended corner may
    leave the programmed path and overrides the P of G64 (None: that P, or ``DEFAULT_TOLERANCE_MM``).
    """

    accel_mm_s2: float
    rapid_mm_min: float
    corner: Corner | None = None
    tolerance_mm: float | None = None
