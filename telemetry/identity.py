"""The key of an event: a function of raw bytes alone, never of a setting.

If a zone is corrected and the journal read again, the keys stay, so history does not double.

- With the device's `seq` and a stamp: both as written. A file that overlaps live intake gives
  the same keys wherever it begins, because nothing before the line takes part.
- With a stamp only: the stamp, the line, and which occurrence of that very line it is, so that
  two truly identical events in one second are two. A file that begins between two such lines
  counts them from one again; that costs one of the two, never a double.
- Without a stamp: the source and the position in it.
"""

from __future__ import annotations

from hashlib import blake2b
from typing import Any, Final

_CROWD: Final = 512  # lines remembered before the old ones are let go


def seq_key(seq: str, stamp: str) -> str:
    """Key of a line with the device's seq and a stamp, both as written."""
    return blake2b(f"s\0{seq}\0{stamp}".encode(), digest_size=16).hexdigest()


def stamp_key(stamp: str, raw: bytes, occurrence: int) -> str:
    """Key of the `occurrence`-th (from 1) appearance of a line with a stamp only."""
    data = b"t\0%s\0%d\0%s" % (stamp.encode(), occurrence, raw)
    return blake2b(data, digest_size=16).hexdigest()


def position_key(source: str, position: int) -> str:
    """Key of a line that carries neither."""
    return blake2b(f"p\0{source}\0{position}".encode(), digest_size=16).hexdigest()


class Occurrences:
    """Counts how often a line has come, for as long as it may come again in the window."""

    def __init__(self, keep_us: int) -> None:
        self._keep_us = keep_us
        self._seen: dict[bytes, tuple[int, int]] = {}

    def count(self, raw: bytes, time_us: int, newest_us: int) -> int:
        """Which occurrence of `raw` this is, from 1."""
        seen = self._seen
        if len(seen) >= _CROWD:
            oldest_us = newest_us - self._keep_us
            self._seen = seen = {r: v for r, v in seen.items() if v[1] >= oldest_us}
        before = seen.get(raw)
        number = 1 if before is None else before[0] + 1
        seen[raw] = (number, time_us)
        return number

    def clear(self) -> None:
        """Begin again, for another source."""
        self._seen = {}

    def state(self) -> list[list[Any]]:
        """All of it as JSON values."""
        return [[raw.decode("latin-1"), n, time_us] for raw, (n, time_us) in self._seen.items()]

    def restore(self, state: list[list[Any]]) -> None:
        """Take up what `state()` described."""
        self._seen = {raw.encode("latin-1"): (n, time_us) for raw, n, time_us in state}
