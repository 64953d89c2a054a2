"""Staffed time: the seconds in which a table has somebody, and the wall clock they stand on."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

OVERTIME_S: Final = 4 * 3600.0  # our assumption: so long a run that is on keeps somebody there
OVER_PLAN: Final = 2.0  # or this many times its plan, where that is longer
WEEK_S: Final = 7 * 86_400.0


def week_of(wall: float) -> int:
    """Weeks are counted in wall time: which day they begin with does not matter."""
    return int(wall // WEEK_S)


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

    def worked_now(self, at: float, on_s: float | None) -> StaffedClock:
        """The clock as it is worked. A run that is on the table outside every shift, planned to
        take `on_s` (None: there is none), is overtime: the time from now on counts as staffed, as
        long as somebody stays for it and at most until the next shift."""
        ahead = np.flatnonzero(self.ends > at)
        place = int(ahead[0]) if len(ahead) else len(self.ends)
        inside = place < len(self.ends) and self.starts[place] <= at
        pause = place > 0 and not self.ends_shift[place - 1]
        if on_s is None or inside or pause:
            return self
        until = at + max(OVERTIME_S, OVER_PLAN * on_s)
        last = place == len(self.ends) or until < self.starts[place]
        return StaffedClock(
            np.insert(self.starts, place, at),
            np.insert(self.ends, place, until if last else self.starts[place]),
            np.insert(self.ends_shift, place, np.bool_(last)),
        )

    def end(self, at: float) -> float:
        """The last moment it knows of, not before `at`."""
        return max(at, float(self.ends[-1])) if len(self.ends) else at

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
