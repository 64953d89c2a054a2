"""The key of an event: a function of raw bytes alone, never of a setting.

If a zone is corrected and the journal read again, the keys stay, so history does not double.

- With the device's `seq` and a stamp: what both say. A file that overlaps live intake gives the
  same keys wherever it begins, because nothing before the line takes part; a file exported again
  with zeros put before or behind these numbers gives them too.
- With a stamp only: the stamp, the line, and which occurrence of that very line it is, so that
  two truly identical events in one second are two. A file that begins between two such lines
  counts them from one again; that costs one of the two, never a double.
- Without a stamp: the source and the position in it.
- A poll that says more than a level gives its edge under the key of the line, and each other event
  under one made of that key and the event's kind.

A key is two numbers of eight bytes. The first is the stamp's mark (`parsers.stamps`), so that
lines of one time stand side by side in the store: it writes four times as fast as under keys that
are spread evenly.
"""

from __future__ import annotations

from hashlib import blake2b
from typing import Any, Final

_UNNUMBERED: Final = 1 << 63
_CROWD: Final = 512  # lines remembered before the old ones are let go


def seq_key(seq: int, mark: int) -> str:
    """Key of a line with the device's seq and a stamp."""
    return f"{mark:016x}{seq:016x}"


def stamp_key(mark: int, raw: bytes, occurrence: int) -> str:
    """Key of the `occurrence`-th (from 1) appearance of a line with a stamp only."""
    digest = blake2b(b"%d\0%s" % (occurrence, raw), digest_size=8).digest()
    # The top bit is set: no running number reaches it.
    return f"{mark:016x}{int.from_bytes(digest) | _UNNUMBERED:016x}"


def part_key(key: str, kind: int) -> str:
    """Key of another event of the line that gave `key`; a line gives one of a kind at most."""
    digest = blake2b(b"%d\0%s" % (kind, key.encode()), digest_size=8).digest()
    return f"{key[:16]}{int.from_bytes(digest) | _UNNUMBERED:016x}"


def position_key(source: str, position: int) -> str:
    """Key of a line that carries neither."""
    return f"{blake2b(source.encode(), digest_size=8).hexdigest()}{position:016x}"


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
