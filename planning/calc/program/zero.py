"""Where the program's zero lies: work offsets set by the program itself (G10 L2) and G92.

Source: NISTIR 6556, 3.5.9 and 3.5.18: the offset of G92 is what makes the present place have the
given value; G92.1 and G92.2 end it, G92.3 takes it up again. A place of the program lies at its
value plus the origin of the coordinate system in force plus that offset, in mm from the machine's
zero. Origins that the program does not set are taken to lie there.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Final

Place = tuple[float, float]

SYSTEMS: Final = {
    54.0: 1, 55.0: 2, 56.0: 3, 57.0: 4, 58.0: 5, 59.0: 6, 59.1: 7, 59.2: 8, 59.3: 9,
}  # fmt: skip


@dataclass(slots=True)
class Zero:
    """``x`` and ``y`` are what to add to the program's figures, in mm."""

    system: int = 1
    x: float = 0.0
    y: float = 0.0
    _origins: dict[int, Place] = field(default_factory=dict)
    _offset: Place = (0.0, 0.0)
    _kept: Place = (0.0, 0.0)

    def use(self, system: int) -> None:
        self.system = system
        self._sum()

    def given(self, system: int) -> bool:
        return system in self._origins

    def set_origin(self, system: int, x: float | None, y: float | None) -> None:
        """G10 L2: an axis not named keeps its origin."""
        old = self._origins.get(system, (0.0, 0.0))
        self._origins[system] = (old[0] if x is None else x, old[1] if y is None else y)
        self._sum()

    def origin_for(
        self, at: Place, x: float | None, y: float | None
    ) -> tuple[float | None, float | None]:
        """The origin with which the place ``at`` has the values ``x`` and ``y`` (G10 L20)."""
        dx, dy = self._offset
        return None if x is None else at[0] - dx - x, None if y is None else at[1] - dy - y

    def set_here(self, at: Place, x: float | None, y: float | None) -> None:
        """G92: the place ``at`` shall have the values ``x`` and ``y``."""
        ox, oy = self._origins.get(self.system, (0.0, 0.0))
        old = self._offset
        self._offset = (
            old[0] if x is None else at[0] - ox - x, old[1] if y is None else at[1] - oy - y
        )  # fmt: skip
        self._kept = self._offset
        self._sum()

    def end(self, *, forget: bool) -> None:
        """G92.1 forgets the offset, G92.2 keeps it for G92.3."""
        self._offset = (0.0, 0.0)
        if forget:
            self._kept = self._offset
        self._sum()

    def restore(self) -> None:
        self._offset = self._kept
        self._sum()

    def _sum(self) -> None:
        ox, oy = self._origins.get(self.system, (0.0, 0.0))
        self.x, self.y = ox + self._offset[0], oy + self._offset[1]
