"""The reorder window: events wait until no line within the window can come before them."""

from __future__ import annotations

from bisect import bisect_left, insort
from typing import Any

from telemetry.events import Event

# Time, session, seq (-1 without), and a running number that makes every entry distinct.
_Entry = tuple[int, int, int, int, Event]


class Window:
    """Events in order of time, then session and seq, then the order they came in.

    `timed` False keeps the order they came in: arrival says nothing of which was first.
    """

    __slots__ = ("_count", "_entries", "_timed")

    def __init__(self, *, timed: bool = True) -> None:
        self._timed = timed
        self._entries: list[_Entry] = []
        self._count = 0

    def __len__(self) -> int:
        return len(self._entries)

    def add(self, event: Event) -> None:
        """Put an event in its place."""
        self._count += 1
        entries = self._entries
        if not self._timed:
            entries.append((0, 0, 0, self._count, event))
            return
        seq = event.seq
        entry = (event.time_us, event.session, -1 if seq is None else seq, self._count, event)
        if entries and entry < entries[-1]:
            insort(entries, entry)
        else:
            entries.append(entry)

    def release(self, until_us: int | None) -> list[Event]:
        """Take out the events up to and with `until_us`, all where it is None."""
        entries = self._entries
        at = len(entries) if until_us is None else bisect_left(entries, (until_us + 1,))
        self._entries = entries[at:]
        return [entry[4] for entry in entries[:at]]

    def state(self) -> list[list[Any]]:
        """The waiting events as JSON values."""
        return [list(entry[4]) for entry in self._entries]

    def restore(self, state: list[list[Any]]) -> None:
        """Take up what `state()` described."""
        for values in state:
            self.add(Event(*values))
