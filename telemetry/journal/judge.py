"""Reads a whole journal and says what of it cannot be read. It never changes a file."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass
from pathlib import Path

from telemetry.journal.reader import Damage, Position, read
from telemetry.journal.record import Kind, Record
from telemetry.journal.segments import (
    HEAD,
    packed_path,
    segment_numbers,
    segment_path,
    size_of,
)


@dataclass(frozen=True, slots=True)
class Span:
    """Records `first_missing` to `next_sequence` - 1 cannot be read: they begin at byte `offset`
    of `file` (counted uncompressed).

    `after_us` and `before_us` say when the records around it came in, in microseconds; None where
    there is none on that side.
    """

    file: Path
    offset: int
    first_missing: int
    next_sequence: int
    after_us: int | None
    before_us: int | None
    fault: str = ""

    def __str__(self) -> str:
        why = f" ({self.fault})" if self.fault else ""
        return (
            f"{self.file}:{self.offset}: records {self.first_missing} to "
            f"{self.next_sequence - 1} cannot be read{why}"
        )


@dataclass(frozen=True, slots=True)
class Judged:
    """What a journal holds: readable records by kind, where they end, and what is missing."""

    folder: Path
    records: Counter[Kind]
    data_bytes: int
    first: int | None  # sequence of the first record that can be read
    end: Position
    spans: tuple[Span, ...]

    @property
    def whole(self) -> bool:
        return not self.spans


def came_us(record: Record) -> int:
    """When its bytes came in; pushed ones came in where they were read."""
    return int(record.meta.get("came_us", record.utc_us))


def judge(folder: Path, upto: int = 1) -> Judged:
    """Reads every segment. `upto` is the sequence up to which records must be there, because
    they were read before: a journal that ends earlier has lost its end."""
    judging = _Judging(folder)
    for item, position in read(folder, unreadable=judging.faults):
        judging.take(item, position)
    return judging.done(upto)


class _Judging:
    def __init__(self, folder: Path) -> None:
        self._folder = folder
        self._numbers = segment_numbers(folder)
        self.faults: dict[int, OSError] = {}
        self._records: Counter[Kind] = Counter()
        self._data_bytes = 0
        self._first: int | None = None
        self._end = Position(self._numbers[0] if self._numbers else 0, len(HEAD), 1)
        self._last_us: int | None = None
        self._open: list[tuple[Damage, Position, int | None]] = []
        self._spans: list[Span] = []

    def take(self, item: Record | Damage, position: Position) -> None:
        if isinstance(item, Damage):
            self._open.append((item, self._end, self._last_us))
            return
        self._close(came_us(item))
        self._first = self._first or item.sequence
        self._records[item.kind] += 1
        self._data_bytes += len(item.body) if item.kind is Kind.DATA else 0
        self._last_us, self._end = came_us(item), position

    def done(self, upto: int) -> Judged:
        self._close(None)
        if self._end.sequence < upto:
            self._spans.append(self._span(self._end, None, upto, self._last_us, None))
        return Judged(
            self._folder, self._records, self._data_bytes, self._first, self._end,
            tuple(self._spans),
        )  # fmt: skip

    def _close(self, before_us: int | None) -> None:
        for damage, end, after_us in self._open:
            start = end._replace(sequence=damage.first_missing)
            self._spans.append(self._span(start, damage, damage.next_sequence, after_us, before_us))
        self._open.clear()

    def _span(
        self,
        start: Position,
        damage: Damage | None,
        next_sequence: int,
        after_us: int | None,
        before_us: int | None,
    ) -> Span:
        """Where it begins: where reading stopped, or in the next segment if that one is missing
        or begins with the damage."""
        number, offset, fault = start.segment, start.offset, ""
        last = max([number, *self._numbers]) if damage is None else damage.segment
        if damage is not None and damage.end > damage.offset:
            number, offset = damage.segment, damage.offset
        elif self._ends_at(number, offset):
            later = [n for n in range(number + 1, last + 1) if self._is_lost(n)]
            if later or self._first is None:
                number, offset = (later or [number])[0], len(HEAD)
        if self._first is None and self._is_lost(1) and start.sequence == 1:
            number = 1
        if number in self.faults:
            fault = self.faults[number].strerror or str(self.faults[number])
        elif number not in self._numbers:
            fault = "this file is missing"
        elif damage is None:
            fault = "the journal ends there"
        return Span(
            self._path(number), offset, start.sequence, next_sequence, after_us, before_us, fault
        )

    def _ends_at(self, number: int, offset: int) -> bool:
        """Whether nothing lies behind what could be read of a segment."""
        try:
            return size_of(self._folder, number) <= offset
        except OSError:
            return True

    def _is_lost(self, number: int) -> bool:
        return number not in self._numbers or number in self.faults

    def _path(self, number: int) -> Path:
        packed = packed_path(self._folder, number)
        plain = segment_path(self._folder, number)
        return packed if packed.exists() and not plain.exists() else plain
