"""A part's shape as recognition sees it: an outline with holes, and open cuts inside.

Units: mm. Leads are left out by whoever makes the rings; the kerf is in them where they come from
a program.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any, Final

import numpy as np
import numpy.typing as npt
import shapely

Floats = npt.NDArray[np.float64]
Complexes = npt.NDArray[np.complex128]

# Our assumptions: two ways of drawing one arc in chords lie this far apart, places are rounded to
# three steps of the program's last decimal, and no real change of a part is below the most.
CHORDS_MM: Final = 0.05
STEPS: Final = 3.0
MOST_TOLERANCE_MM: Final = 0.15
_SIMPLER_MM: Final = 0.005
_LEAST_AREA_MM2: Final = 1.0


def tolerance_mm(*steps_mm: float) -> float:
    """How far two outlines of one part may lie apart, by the steps of their last decimals."""
    return min(MOST_TOLERANCE_MM, max(CHORDS_MM, STEPS * max(steps_mm, default=0.0)))


@dataclass(frozen=True, eq=False)
class Outline:
    """``area`` is a polygon with its holes, ``lines`` open cuts inside it; ``marked`` says
    that it has marks on its face. ``step_mm`` is the step of the
    last decimal it was written with, 0 where it is exact."""

    area: Any
    lines: tuple[Any, ...] = ()
    marked: bool = False
    step_mm: float = 0.0

    @property
    def holes(self) -> int:
        return len(self.area.interiors)

    @property
    def area_mm2(self) -> float:
        return float(self.area.area)

    @property
    def around_mm(self) -> float:
        return float(self.area.exterior.length)

    @property
    def edge_mm(self) -> float:
        """All edges, holes too."""
        return float(self.area.length)

    @cached_property
    def size_mm(self) -> float:
        """The diagonal of its box."""
        x0, y0, x1, y1 = self.area.bounds
        return float(np.hypot(x1 - x0, y1 - y0))

    @cached_property
    def centre(self) -> complex:
        spot = shapely.centroid(shapely.Polygon(self.area.exterior))
        return complex(spot.x, spot.y)

    @cached_property
    def hole_centres(self) -> Complexes:
        spots = [shapely.centroid(shapely.Polygon(ring)) for ring in self.area.interiors]
        return np.array([complex(spot.x, spot.y) for spot in spots], np.complex128)

    @cached_property
    def hole_sizes_mm(self) -> Floats:
        """Diameters of circles of the holes' areas."""
        areas = [shapely.Polygon(ring).area for ring in self.area.interiors]
        return np.sqrt(4 * np.array(areas, np.float64) / np.pi)

    @cached_property
    def edges(self) -> Any:
        """Every edge, hole and line as one."""
        rings = [self.area.exterior, *self.area.interiors, *self.lines]
        return shapely.multilinestrings([shapely.linestrings(ring.coords) for ring in rings])

    def with_area(self, area: Any) -> Outline:
        return replace(self, area=area)


def outline_of(
    rings: Sequence[Any],
    lines: Sequence[Any] = (),
    *,
    marked: bool = False,
    step_mm: float = 0.0,
) -> Outline | None:
    """The shape of rings (the outline first, then holes), each a sequence of points. None where
    the outline does not enclose an area or crosses itself: such a shape is not known again."""
    if not rings or len(rings[0]) < 3:
        return None
    holes = [ring for ring in rings[1:] if len(ring) >= 3]
    area = shapely.simplify(shapely.Polygon(rings[0], holes), _SIMPLER_MM)
    if not area.is_valid or area.geom_type != "Polygon" or area.area < _LEAST_AREA_MM2:
        return None
    kept = tuple(shapely.linestrings(line) for line in lines if len(line) >= 2)
    return Outline(shapely.geometry.polygon.orient(area), kept, marked, step_mm)
