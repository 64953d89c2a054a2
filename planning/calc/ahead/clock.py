"""Staffed time: the seconds in which a table has somebody, and the wall clock they stand on."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class StaffedClock:
    """Stretches (start, end) of wall time in seconds, in order and apart, in which the table is
    staffed: shifts less breaks and closed time. `ends_shift[i]` says a shift ends with stretch i,
    not just a break begins."""

    starts: Floats
    ends: Floats
    ends_shift: NDArray[np.bool_]

    @classmethod
    def of(cls, spans: Sequence[tuple[float, float]], ends_shift: Sequence[bool]) -> StaffedClock:
        """Raises ValueError if stretches are empty, out of order or overlap."""
        starts = np.array([start for start, _ in spans], dtype=float)
        ends = np.array([end for _, end in spans], dtype=float)
        if np.any(ends <= starts) or np.any(starts[1:] < ends[:-1]):
            raise ValueError("stretches must be in order, apart and not empty")
        return cls(starts, ends, np.array(ends_shift, dtype=bool))

    def from_now(self, now: float) -> StaffedClock:
        """The same clock without what lies before `now`."""
        kept = self.ends > now
        return StaffedClock(
            np.maximum(self.starts[kept], now), self.ends[kept], self.ends_shift[kept]
        )

    def with_shift(self, start: float, end: float) -> StaffedClock:
        """The same clock with one more shift, as far as it is not staffed then already."""
        cuts = [(float(a), float(b)) for a, b in zip(self.starts, self.ends, strict=True)]
        fresh, at = [], start
        for begun, ended in cuts:
            if ended > at and begun < end:
                if begun > at:
                    fresh.append((at, begun))
                at = max(at, ended)
        if at < end:
            fresh.append((at, end))
        rows = [(*cut, bool(last)) for cut, last in zip(cuts, self.ends_shift, strict=True)]
        rows = sorted([*rows, *((begun, ended, ended == end) for begun, ended in fresh)])
        return StaffedClock.of([row[:2] for row in rows], [row[2] for row in rows])

    @property
    def passed(self) -> Floats:
        """Staffed seconds at the end of each stretch."""
        return np.cumsum(self.ends - self.starts)

    def wall(self, staffed: Floats) -> Floats:
        """Wall time at which that many staffed seconds have passed; infinite beyond the last
        stretch. A moment on a border is the end of what went before, not the start of the next.
        """
        passed = self.passed
        if not len(passed):
            return np.full(np.shape(staffed), np.inf)
        at = np.searchsorted(passed, staffed, side="left")
        inside = np.minimum(at, len(passed) - 1)
        found = self.ends[inside] - (passed[inside] - staffed)
        return np.where(at < len(passed), found, np.inf)

    def staffed(self, wall: float) -> float:
        """Staffed seconds up to a moment of wall time."""
        return float(np.clip(wall - self.starts, 0, self.ends - self.starts).sum())

    @property
    def borders(self) -> Floats:
        """Staffed seconds at which a shift ends."""
        return self.passed[self.ends_shift]
