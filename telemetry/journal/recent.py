"""Records just made durable, kept for who follows the journal: it need not read them back."""

from __future__ import annotations

from collections import deque

from telemetry.journal.reader import Position
from telemetry.journal.record import Kind, Record

_BESIDE_BODY = 500  # bytes a record costs in memory beside its own


class Recent:
    """One thread adds, another takes. Memory is bounded: what has no room is not kept, and who
    follows sees by the numbers that it must read the journal for it. The journal stays the truth.
    """

    def __init__(self, most_bytes: int) -> None:
        self._most_bytes = most_bytes
        self._items: deque[tuple[Record, Position]] = deque()
        # Each counted by one thread alone, so that no count is lost.
        self._added_bytes = self._taken_bytes = 0

    def add(self, record: Record, end: Position) -> None:
        """A record that is on disk for good, and the position behind it."""
        size = len(record.body) + _BESIDE_BODY
        if self._added_bytes - self._taken_bytes + size <= self._most_bytes:
            self._items.append((record, end))
            self._added_bytes += size

    def take_plain(self, sequence: int) -> tuple[Record, Position] | None:
        """`take`, of a record that holds bytes of the source and nothing that turns their meaning;
        any other stays."""
        items = self._items
        if items and items[0][0].kind is Kind.DATA and items[0][0].sequence <= sequence:
            return self.take(sequence)
        return None

    def take(self, sequence: int) -> tuple[Record, Position] | None:
        """The record of this number, if it is at hand; those before it are let go."""
        items = self._items
        while items and items[0][0].sequence <= sequence:
            found = items.popleft()
            self._taken_bytes += len(found[0].body) + _BESIDE_BODY
            if found[0].sequence == sequence:
                return found
        return None
