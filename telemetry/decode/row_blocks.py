"""Plain lines as the arrays they were read by, for whoever works by arrays too. Pure."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import repeat
from typing import Any

import numpy as np

Array = np.ndarray[Any, Any]

# The fields of an event row: key, at_us, seq, tie, torch, kind, number, text, stamp, received_us,
# feed_version, clock_version. A plain tuple of them is quicker to make than a named one.
AnyRow = tuple[
    bytes, int, int, int, str, int, float | None, str | None, str, int, int, int
]  # fmt: skip


Columns = tuple[
    list[bytes], list[int], list[int], list[str], list[int], list[float | None], list[str | None],
    list[str],
]  # fmt: skip


@dataclass(frozen=True, slots=True)
class ColumnBlock:
    """Plain lines, an entry a line.

    `keys` is (n, 2) big-endian u8, the 16 bytes that `Event.key` spells in hex; `values` NaN where
    there is none; the stamp of line i is `text[stamps_from[i] : stamps_to[i]]`, all ASCII. `torch`
    is None where lines name different ones: then `torches` says each. `named` are the places, in
    order, of lines that carry a name, and `names` those.
    """

    text: Array
    keys: Array
    times_us: Array
    seqs: Array
    kinds: Array
    values: Array
    stamps_from: Array
    stamps_to: Array
    torch: str | None
    torches: list[str]
    named: Array
    names: list[str]

    def __len__(self) -> int:
        return len(self.times_us)

    def part(self, first: int, last: int) -> ColumnBlock:
        """Lines `first` to before `last`."""
        low, high = np.searchsorted(self.named, (first, last)).tolist()
        return ColumnBlock(
            self.text, self.keys[first:last], self.times_us[first:last], self.seqs[first:last],
            self.kinds[first:last], self.values[first:last], self.stamps_from[first:last],
            self.stamps_to[first:last], self.torch, self.torches[first:last],
            self.named[low:high] - first, self.names[low:high],
        )  # fmt: skip

    def rows(self, received_us: int, feed_version: int) -> list[AnyRow]:
        """The lines as rows: numbered, so without a tie, and timed by no corrected clock."""
        keys, times_us, seqs, torches, kinds, values, names, stamps = self.columns()
        return list(
            zip(
                keys, times_us, seqs, repeat(0), torches, kinds, values, names, stamps,
                repeat(received_us), repeat(feed_version), repeat(0),
            )
        )  # fmt: skip

    def columns(self) -> Columns:
        """Keys, times, numbers, torches, kinds, values, names and stamps."""
        count = len(self)
        keys = self.keys.tobytes()
        texts: list[str | None] = [None] * count
        for place, name in zip(self.named.tolist(), self.names, strict=True):
            texts[place] = name
        return (
            [keys[at : at + 16] for at in range(0, 16 * count, 16)], self.times_us.tolist(),
            self.seqs.tolist(), self.torches or [self.torch or ""] * count, self.kinds.tolist(),
            but_nan(self.values), texts, self.stamps(),
        )  # fmt: skip

    def stamps(self) -> list[str]:
        """Each line's stamp as it wrote it."""
        if not len(self):
            return []
        start = int(self.stamps_from[0])
        text = self.text[start : int(self.stamps_to[-1])].tobytes().decode("latin-1")
        pairs = zip(
            (self.stamps_from - start).tolist(), (self.stamps_to - start).tolist(), strict=True
        )
        return [text[first:last] for first, last in pairs]


def but_nan(values: Array) -> list[float | None]:
    """Numbers, None in the place of NaN."""
    found = values.astype(object)
    found[np.isnan(values)] = None
    listed: list[float | None] = found.tolist()
    return listed


@dataclass(frozen=True, slots=True)
class RowBlock:
    """Packed lines of one description, all received at one instant."""

    lines: ColumnBlock
    received_us: int
    feed_version: int

    def __len__(self) -> int:
        return len(self.lines)

    def part(self, first: int, last: int) -> RowBlock:
        """Lines `first` to before `last`."""
        return RowBlock(self.lines.part(first, last), self.received_us, self.feed_version)

    def rows(self) -> list[AnyRow]:
        """The lines as rows."""
        return self.lines.rows(self.received_us, self.feed_version)
