"""How many parts a sheet gives before there is a nest."""

from __future__ import annotations

import math

from planning.calc.said import said

GAP_MM = 10.0  # between parts; our assumption
EDGE_MM = 10.0  # left along the sheet's edges; our assumption
RULE = said(
    "estimated: no nest yet; boxes of the parts in rows and columns, 10 mm between and at edges"
)


def parts_a_sheet(
    part_mm: tuple[float, float], sheet_mm: tuple[float, float], *,
    gap_mm: float = GAP_MM, edge_mm: float = EDGE_MM,
) -> int:  # fmt: skip
    """How many of a part's boxes (width, height) lie on a sheet (length, width) in rows and
    columns, all one way round: the better of the two ways. Never too many; parts that interlock or
    lie in each other's holes give more. 0 where it is too large. Raises ``ValueError`` for sizes
    that are not above zero."""
    if min(*part_mm, *sheet_mm) <= 0:
        raise ValueError(said("a part and a sheet have a length and a width above zero"))
    length, width = sheet_mm

    def rows(side: float, room: float) -> int:
        return max(0, math.floor((room - 2 * edge_mm + gap_mm) / (side + gap_mm) + 1e-9))

    wide, high = part_mm
    return max(rows(wide, length) * rows(high, width), rows(high, length) * rows(wide, width))
