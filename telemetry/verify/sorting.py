"""Sorts and compares far more rows than fit in memory, through a temporary file.

A row is `(high, low, mark, x, y)`: the 16 bytes of a key as two numbers, a hash of what else must
agree, and two numbers to say where it is or to compare with a tolerance.
"""

from __future__ import annotations

import heapq
import struct
import tempfile
from collections.abc import Iterable, Iterator
from pathlib import Path
from typing import IO, Literal, NamedTuple

import numpy as np

Row = tuple[int, int, int, float, float]
_DTYPE = np.dtype([("high", "<u8"), ("low", "<u8"), ("mark", "<u8"), ("x", "<f8"), ("y", "<f8")])
_HALVES = struct.Struct(">QQ").unpack
_RUN = 200_000  # rows sorted in memory at once
_BLOCK = 4_096  # rows of a run read back at once
_MASK = (1 << 64) - 1
_END: Row = (1 << 64, 0, 0, 0.0, 0.0)  # behind every row


def row(key: bytes, mark: int, x: float = 0.0, y: float = 0.0) -> Row:
    """`mark` is any int; its lower 64 bits count."""
    high, low = _HALVES(key)
    return high, low, mark & _MASK, x, y


class Sorter:
    """Takes rows in any order and gives them back sorted. Memory stays the same for any number;
    the disk holds 40 bytes a row, in a file without a name in `folder`."""

    def __init__(self, folder: Path) -> None:
        self._folder = folder
        self._file: IO[bytes] | None = None
        self._runs: list[int] = []  # rows in each
        self._rows: list[Row] = []
        self.count = 0

    def add(self, entry: Row) -> None:
        self._rows.append(entry)
        self.count += 1
        if len(self._rows) >= _RUN:
            self._spill()

    def extend(self, entries: Iterable[Row]) -> None:
        for entry in entries:
            self.add(entry)

    def _spill(self) -> None:
        if self._file is None:
            self._file = tempfile.TemporaryFile(dir=self._folder)  # noqa: SIM115 - until close()
        self._rows.sort()
        self._file.write(np.array(self._rows, dtype=_DTYPE).tobytes())
        self._runs.append(len(self._rows))
        self._rows = []

    def __iter__(self) -> Iterator[Row]:
        self._rows.sort()
        first, runs = 0, []
        for count in self._runs:
            runs.append(self._run(first, count))
            first += count
        return heapq.merge(*runs, self._rows)

    def _run(self, first: int, count: int) -> Iterator[Row]:
        last = first + count
        while first < last and self._file is not None:
            size = min(_BLOCK, last - first)
            self._file.seek(first * _DTYPE.itemsize)
            raw = self._file.read(size * _DTYPE.itemsize)
            yield from np.frombuffer(raw, dtype=_DTYPE).tolist()
            first += size

    def close(self) -> None:
        if self._file is not None:
            self._file.close()


class Difference(NamedTuple):
    """`missing`: only where it is expected. `extra`: only stored. `changed`: stored otherwise.
    `older`: stored as expected, but with another `y` than any that is expected."""

    kind: Literal["missing", "extra", "changed", "older"]
    entry: Row


def compare(
    expected: Iterable[Row],
    stored: Iterable[Row],
    *,
    tolerance: float | None = None,
    older: bool = False,
) -> Iterator[Difference]:
    """Differences of two sorted streams. A key may be expected more than once, under several marks:
    one of them must be stored, once. With a `tolerance` (relative) `x` and `y` must agree too;
    `older` tells of rows of which `y` alone differs."""
    left, right = iter(expected), iter(stored)
    want, have = next(left, _END), next(right, _END)
    while want is not _END or have is not _END:
        if want[:2] < have[:2]:
            yield Difference("missing", want)
            want = _past(left, want)
        elif have[:2] < want[:2]:
            yield Difference("extra", have)
            have = next(right, _END)
        else:
            same, entry, ys = False, want, set[float]()
            while want[:2] == have[:2]:
                same = same or _agree(want, have, tolerance)
                ys.add(want[4])
                want = next(left, _END)
            if not same:
                yield Difference("changed", entry)
            elif older and have[4] not in ys:
                yield Difference("older", have)
            have = next(right, _END)


def _past(rows: Iterator[Row], entry: Row) -> Row:
    after = next(rows, _END)
    while after[:2] == entry[:2]:
        after = next(rows, _END)
    return after


def _agree(want: Row, have: Row, tolerance: float | None) -> bool:
    if want[2] != have[2]:
        return False
    return tolerance is None or (
        _close(want[3], have[3], tolerance) and _close(want[4], have[4], tolerance)
    )


def _close(one: float, other: float, tolerance: float) -> bool:
    if one != one or other != other:
        return one != one and other != other
    return abs(one - other) <= tolerance * max(abs(one), abs(other))
