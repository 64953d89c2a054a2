"""Rows that came from journal segments thinned since: summed up, and told from faults."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from hashlib import blake2b

from telemetry.journal.thinned import Rows, Thinned
from telemetry.verify.sorting import Difference

_MASK = (1 << 128) - 1


class Beyond:
    """Passes differences on, but for rows that only thinned segments could give: those that came in
    before the last deleted line, and that no kept record gives with the arrival they are stored
    with. A line that came again since has another arrival, so it stays one of them."""

    def __init__(self, differences: Iterable[Difference], thinned: Thinned) -> None:
        self._differences = differences
        self._came_us = thinned.came_us
        self._count = self._sum = 0

    def __iter__(self) -> Iterator[Difference]:
        for difference in self._differences:
            is_before = difference.entry[4] <= self._came_us
            if difference.kind in ("extra", "older") and is_before:
                self._add(difference)
            elif difference.kind != "older":
                yield difference

    def _add(self, difference: Difference) -> None:
        self._count += 1
        found = blake2b(repr(difference.entry[:3]).encode(), digest_size=16).digest()
        self._sum = (self._sum + int.from_bytes(found)) & _MASK

    @property
    def rows(self) -> Rows:
        """Once all differences have passed."""
        return Rows(self._count, f"{self._sum:032x}")
