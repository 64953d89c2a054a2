"""Event rows in order; long plain stretches stay arrays until somebody wants rows. Pure."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from itertools import chain
from typing import overload

from telemetry.decode.row_blocks import AnyRow, RowBlock


class Rows(Sequence[AnyRow]):
    """A sequence of rows. `parts` are what it is made of: lists of rows, and stretches."""

    __slots__ = ("_count", "parts")

    def __init__(self, parts: Iterable[list[AnyRow] | RowBlock] = ()) -> None:
        self.parts: list[list[AnyRow] | RowBlock] = [part for part in parts if len(part)]
        self._count = sum(map(len, self.parts))

    def extend(self, rows: Iterable[AnyRow]) -> None:
        """Adds rows at the end."""
        last = self.parts[-1] if self.parts else None
        if not isinstance(last, list):
            last = []
            self.parts.append(last)
        before = len(last)
        last.extend(rows)
        self._count += len(last) - before
        if not last:
            self.parts.pop()

    def add(self, stretch: RowBlock) -> None:
        """Adds a stretch at the end."""
        if len(stretch):
            self.parts.append(stretch)
            self._count += len(stretch)

    def since(self, first: int) -> Rows:
        """The rows from place `first` on."""
        return self._clipped(first, self._count)

    @property
    def first(self) -> AnyRow:
        """The first row, of at least one: many times as quick as by its place."""
        part = self.parts[0]
        return part[0] if isinstance(part, list) else part.part(0, 1).rows()[0]

    def torches(self) -> set[str]:
        """All that are named."""
        found: set[str] = set()
        for part in self.parts:
            if isinstance(part, list):
                found.update(row[4] for row in part)
            elif part.lines.torch is None:
                found.update(part.lines.torches)
            else:
                found.add(part.lines.torch)
        return found

    def __len__(self) -> int:
        return self._count

    def __iter__(self) -> Iterator[AnyRow]:
        return chain.from_iterable(rows_of(part) for part in self.parts)

    @overload
    def __getitem__(self, at: int) -> AnyRow: ...
    @overload
    def __getitem__(self, at: slice) -> list[AnyRow]: ...
    def __getitem__(self, at: int | slice) -> AnyRow | list[AnyRow]:
        if isinstance(at, slice):
            first, last, step = at.indices(self._count)
            return list(self._clipped(first, last))[::step] if step > 0 else list(self)[at]
        if not -self._count <= at < self._count:
            raise IndexError(at)
        at %= self._count
        return next(iter(self._clipped(at, at + 1)))

    def _clipped(self, first: int, last: int) -> Rows:
        parts: list[list[AnyRow] | RowBlock] = []
        at = 0
        for part in self.parts:
            low, high = max(first - at, 0), min(last - at, len(part))
            if low < high:
                whole = (low, high) == (0, len(part))
                parts.append(
                    part if whole
                    else part[low:high] if isinstance(part, list)
                    else part.part(low, high)
                )  # fmt: skip
            at += len(part)
        return Rows(parts)


def rows_of(part: list[AnyRow] | RowBlock) -> list[AnyRow]:
    """One part as rows."""
    return part if isinstance(part, list) else part.rows()
