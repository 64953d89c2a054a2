"""How far a source's clock seems off, from arrival; and steps of clocks, its own and the host's.

Pure: instants are microseconds, nothing is looked up.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

LEAST = 20  # lines heard live before anything is said
KEEP = 200
_STEP = 10
JUMP_US = 5_000_000
HOST_STEP_US = 2_000_000


@dataclass(frozen=True, slots=True)
class ClockEstimate:
    """Arrival minus stamp, over the last lines heard live: the clock's error plus its delay.

    `median_us` positive: the source's clock is behind. `spread_us` is between the quartiles.
    """

    n: int
    median_us: int
    spread_us: int


@dataclass(frozen=True, slots=True)
class ClockJump:
    """The stamps moved against arrival by `by_us` from `at_us` (arrival) on; positive: back."""

    by_us: int
    at_us: int


def estimate(lags: Sequence[int]) -> ClockEstimate | None:
    """None with fewer than 20."""
    if len(lags) < LEAST:
        return None
    ordered = sorted(lags)
    quarter = len(ordered) // 4
    spread_us = ordered[-quarter - 1] - ordered[quarter]
    return ClockEstimate(len(ordered), ordered[len(ordered) // 2], spread_us)


class ClockWatch:
    """Watches the lags of one source. `before` is what an earlier watch had settled on."""

    def __init__(self, before: ClockEstimate | None = None) -> None:
        self._lags: deque[tuple[int, int]] = deque(maxlen=KEEP)
        self._before = before
        self._jumps: list[ClockJump] = []

    def see(self, heard: Iterable[tuple[int, int]]) -> None:
        """Takes (arrival, stamp) in order of arrival. Of lines that came together the latest
        stamp counts: the others only waited longer."""
        latest: dict[int, int] = {}
        for arrival_us, stamp_us in heard:
            latest[arrival_us] = max(stamp_us, latest.get(arrival_us, stamp_us))
        lags = [(arrival, arrival - stamp) for arrival, stamp in latest.items()]
        for start in range(0, len(lags), _STEP):  # much may come at once, after a fault
            self._lags.extend(lags[start : start + _STEP])
            jump = self._jump()
            if jump is not None:
                self._jumps.append(jump)

    def estimate(self) -> ClockEstimate | None:
        return estimate([lag for _, lag in self._lags])

    def jumps(self) -> list[ClockJump]:
        """Steps since last asked: where the last 20 lines lagged otherwise than what came before,
        by more than five seconds and three times what either scatters."""
        found, self._jumps = self._jumps, []
        return found

    def _jump(self) -> ClockJump | None:
        rows = list(self._lags)
        new = estimate([lag for _, lag in rows[-LEAST:]])
        old = estimate([lag for _, lag in rows[:-LEAST]]) or self._before
        if new is None or old is None:
            return None
        by_us = new.median_us - old.median_us
        if abs(by_us) <= max(JUMP_US, 3 * max(new.spread_us, old.spread_us)):
            return None
        halfway = old.median_us + by_us / 2
        moved = [arrival for arrival, lag in rows if (lag > halfway) == (by_us > 0)]
        self._before = None
        self._lags = deque(rows[-LEAST:], maxlen=KEEP)
        return ClockJump(by_us, min(moved))


def as_of_now(seen: tuple[int, int], now: tuple[int, int]) -> int:
    """An instant seen by both clocks (wall, monotonic), as the wall clock of now would have it: it
    may have been set since."""
    moved_us = (now[0] - now[1]) - (seen[0] - seen[1])
    return seen[0] + moved_us if abs(moved_us) > HOST_STEP_US else seen[0]


class HostClock:
    """The host's wall clock against its monotonic one."""

    def __init__(self, utc_us: int, mono_us: int) -> None:
        self._ahead_us = utc_us - mono_us

    def step(self, utc_us: int, mono_us: int) -> int | None:
        """By how much the wall clock was set since last asked (or the machine slept); None while
        it only drifts."""
        before, self._ahead_us = self._ahead_us, utc_us - mono_us
        moved_us = self._ahead_us - before
        return moved_us if abs(moved_us) > HOST_STEP_US else None
