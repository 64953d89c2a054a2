"""The device's running number: sessions, duplicates and gaps.

Sessions and duplicates are decided as lines come in, gaps once they are in order.

- A number above all before it continues the session.
- A number not above them, on a line later than all before it, is the device counting afresh: a
  new session. Only the very last number repeated with a later stamp is a duplicate (a line sent
  again), unless it is the only one so far.
- A number not above them on a line within the reorder window is a duplicate where it was seen,
  a late line where it was not.
- After a restart, late lines of the session before are told by their time.

Where times come from arrival they cannot tell late from new. There a number at most NEAR behind
the newest is a duplicate or a late line, and one further back, or at the session's first number,
a new session.
"""

from __future__ import annotations

from bisect import bisect_right
from typing import TYPE_CHECKING, Any, Final

import numpy as np

if TYPE_CHECKING:
    from telemetry.decode.row_blocks import Array

NEAR: Final = 8
_RANGES: Final = 256  # received ranges remembered in a session
_SLACK_US: Final = 1_000_000


class _Session:
    """Numbers of one run of the device's counter. `ranges` are the received ones, inclusive."""

    __slots__ = ("first", "index", "newest_us", "ranges", "released", "start_us", "top")

    def __init__(self, index: int, seq: int, time_us: int) -> None:
        self.index = index
        self.first = seq
        self.top = seq
        self.start_us = time_us
        self.newest_us = time_us
        self.released: int | None = None
        self.ranges: list[list[int]] = [[seq, seq]]

    def has(self, seq: int) -> bool:
        at = bisect_right(self.ranges, [seq, 1 << 80]) - 1
        return at >= 0 and self.ranges[at][0] <= seq <= self.ranges[at][1]

    def add(self, seq: int, time_us: int) -> None:
        last = self.ranges[-1]
        if seq == last[1] + 1:
            last[1] = seq
        elif not self.has(seq):
            self._insert(seq)
        if seq > self.top:
            self.top = seq
        if time_us > self.newest_us:
            self.newest_us = time_us
        if time_us < self.start_us:
            self.start_us = time_us

    def _insert(self, seq: int) -> None:
        ranges = self.ranges
        at = bisect_right(ranges, [seq, 1 << 80])
        ranges.insert(at, [seq, seq])
        if at + 1 < len(ranges) and ranges[at + 1][0] == seq + 1:
            ranges[at][1] = ranges.pop(at + 1)[1]
        if at > 0 and ranges[at - 1][1] == seq - 1:
            ranges[at - 1][1] = ranges.pop(at)[1]
        if len(ranges) > _RANGES:
            del ranges[0]

    def missing(self, seq: int) -> list[tuple[int, int]]:
        """Runs never received between the newest released number and `seq`, exclusive ends."""
        if self.released is None or seq <= self.released + 1:
            return []
        runs = []
        at = self.released
        for low, high in self.ranges:
            if high <= at:
                continue
            if low > at + 1:
                runs.append((at, min(low, seq)))
            at = high
            if at >= seq - 1:
                break
        return runs


class Sequence:
    """Follows the numbers of one feed."""

    def __init__(self, window_us: int, *, timed: bool) -> None:
        self._window_us = window_us
        self._timed = timed
        self.next_seq = -1  # the number that plainly goes on; -1 before any
        self._now: _Session | None = None
        self._before: _Session | None = None
        # Two marks a window apart: numbers at or below `_old_top` are older than the window.
        self._mark_us = 0
        self._mark_top = 0
        self._old_top = 0

    def arrive(self, seq: int, time_us: int, newest_us: int) -> tuple[int, bool]:
        """Session of a line as it comes in, and whether it is a duplicate.

        `newest_us` is the newest time before this line.
        """
        verdict = self._judge(seq, time_us, newest_us)
        if self._now is not None:
            self.next_seq = self._now.top + 1
        return verdict

    def follow(self, seq: int, time_us: int) -> int:
        """Session of a line that carries `next_seq` and is no older than any before it."""
        now = self._now
        if now is None:
            raise ValueError("nothing to follow")
        if time_us - self._mark_us >= self._window_us + _SLACK_US:
            self._mark(time_us, now.top)
        now.top = now.ranges[-1][1] = seq
        now.newest_us = time_us
        self.next_seq = seq + 1
        return now.index

    def follow_all(self, seqs: Array, times_us: Array) -> int:
        """`follow` for lines that each follow the one before; returns their session."""
        now = self._now
        if now is None:
            raise ValueError("nothing to follow")
        limit_us = self._window_us + _SLACK_US
        # A line that far behind the one before it is marked, whatever was marked earlier; and only
        # the last two marks are kept.
        far = np.flatnonzero(np.diff(times_us) >= limit_us)[-2:-1].tolist()
        first = far[0] + 1 if far else 0
        mark_us, mark_top, old_top = self._mark_us, self._mark_top, self._old_top
        top = int(seqs[first])
        for time_us in times_us[first:].tolist():
            if time_us - mark_us >= limit_us:
                mark_us, mark_top, old_top = time_us, top - 1, mark_top
            top += 1
        self._mark_us, self._mark_top, self._old_top = mark_us, mark_top, old_top
        now.top = now.ranges[-1][1] = int(seqs[-1])
        now.newest_us = int(times_us[-1])
        self.next_seq = now.top + 1
        return now.index

    def _judge(self, seq: int, time_us: int, newest_us: int) -> tuple[int, bool]:
        now = self._now
        if now is None:
            return self._start(seq, time_us), False
        if not self._timed:
            return self._arrive_untimed(now, seq, time_us)
        if time_us < newest_us - self._window_us:
            return self._arrive_late(now, seq, time_us), False
        if time_us - self._mark_us >= self._window_us + _SLACK_US:
            self._mark(time_us, now.top)
        if seq > now.top:
            if time_us < now.start_us and seq != now.top + 1 and self._before is not None:
                now = self._before
            is_duplicate = now is not self._now and now.has(seq)
            now.add(seq, time_us)
            return now.index, is_duplicate
        if time_us > newest_us:
            if seq == now.top != now.first:
                return now.index, True
            return self._start(seq, time_us), False
        before = self._before
        if before is not None and time_us < now.start_us and time_us <= before.newest_us:
            now = before
        elif seq <= self._old_top:
            return self._start(seq, time_us), False
        if now.has(seq):
            return now.index, True
        now.add(seq, time_us)
        return now.index, False

    def release(self, session: int, seq: int) -> list[tuple[int, int]]:
        """Gaps that a line shows as it leaves the window: pairs (last before, first after)."""
        for known in (self._now, self._before):
            if known is not None and known.index == session:
                runs = known.missing(seq)
                known.released = seq if known.released is None else max(seq, known.released)
                return runs
        return []

    def state(self) -> dict[str, Any]:
        """All of it as JSON values."""

        def plain(session: _Session | None) -> dict[str, Any] | None:
            if session is None:
                return None
            values = {name: getattr(session, name) for name in _Session.__slots__}
            return {**values, "ranges": [list(pair) for pair in session.ranges]}

        return {
            "now": plain(self._now),
            "before": plain(self._before),
            "marks": [self._mark_us, self._mark_top, self._old_top],
        }

    def restore(self, state: dict[str, Any]) -> None:
        """Take up what `state()` described."""

        def session(values: dict[str, Any] | None) -> _Session | None:
            if values is None:
                return None
            made = _Session(0, 0, 0)
            for name, value in values.items():
                setattr(made, name, [list(r) for r in value] if name == "ranges" else value)
            return made

        self._now = session(state["now"])
        self.next_seq = -1 if self._now is None else self._now.top + 1
        self._before = session(state["before"])
        self._mark_us, self._mark_top, self._old_top = state["marks"]

    def _start(self, seq: int, time_us: int) -> int:
        index = 0 if self._now is None else self._now.index + 1
        self._before = self._now
        self._now = _Session(index, seq, time_us)
        # Lines just before the first one seen may still come, by any count of them in a window.
        self._mark_us, self._mark_top, self._old_top = time_us, seq - 4096, seq - 4096
        return index

    def _mark(self, time_us: int, top: int) -> None:
        self._old_top = self._mark_top
        self._mark_us, self._mark_top = time_us, top

    def _arrive_late(self, now: _Session, seq: int, time_us: int) -> int:
        """A line older than the window: only its key can tell whether it was seen."""
        if seq > now.top and (time_us >= now.start_us or seq == now.top + 1):
            now.add(seq, now.newest_us)
        elif time_us < now.start_us and self._before is not None:
            return self._before.index
        return now.index

    def _arrive_untimed(self, now: _Session, seq: int, time_us: int) -> tuple[int, bool]:
        behind = now.top - seq
        if behind > NEAR or (behind > 0 and seq == now.first):
            return self._start(seq, time_us), False
        if behind >= 0 and now.has(seq):
            return now.index, True
        now.add(seq, time_us)
        return now.index, False
