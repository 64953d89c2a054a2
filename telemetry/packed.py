"""The arrays that plain lines were read by, kept for whoever writes by arrays too. Pure."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, NamedTuple

import numpy as np

Array = np.ndarray[Any, Any]


@dataclass(frozen=True, slots=True)
class Packed:
    """Plain lines, an entry a line: what `Columns` says of them, as arrays.

    `keys` is (n, 2) big-endian u8; `values` NaN where there is none; the stamp of line i is
    `text[stamps_from[i] : stamps_to[i]]`, all ASCII. `torch` is None where lines name different
    ones, or one that is not ASCII. `named` are the places, in order, of lines that carry a name;
    their torch may be another.
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
    named: Array

    def __len__(self) -> int:
        return len(self.times_us)

    def part(self, first: int, last: int) -> Packed:
        """Lines `first` to before `last`."""
        low, high = np.searchsorted(self.named, (first, last))
        return Packed(
            self.text, self.keys[first:last], self.times_us[first:last], self.seqs[first:last],
            self.kinds[first:last], self.values[first:last], self.stamps_from[first:last],
            self.stamps_to[first:last], self.torch, self.named[low:high] - first,
        )  # fmt: skip


class Stretch(NamedTuple):
    """Packed lines among rows: those from place `first` on, all received at one instant."""

    first: int
    lines: Packed
    received_us: int


def clipped(stretches: Sequence[Stretch], first: int, last: int) -> list[Stretch]:
    """What stretches say of rows `first` to before `last`, counted from there."""
    found = []
    for at, lines, received_us in stretches:
        low, high = max(first - at, 0), min(last - at, len(lines))
        if low < high:
            found.append(Stretch(at + low - first, lines.part(low, high), received_us))
    return found
