"""Reads a journal from a position. It never changes a file."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import NamedTuple

from telemetry.journal.record import Record, find_next, unpack
from telemetry.journal.segments import HEAD, read_from, segment_numbers


class Position(NamedTuple):
    """Where the next record is to be read: segment, byte offset in it, sequence expected there.

    Sequence 0 expects any.
    """

    segment: int = 0
    offset: int = 0
    sequence: int = 1


@dataclass(frozen=True, slots=True)
class Damage:
    """Bytes that cannot be read although intact records follow: a case for an alarm."""

    segment: int
    offset: int
    end: int
    first_missing: int
    next_sequence: int

    def __str__(self) -> str:
        return (
            f"journal segment {self.segment} is damaged at byte {self.offset}: "
            f"records {self.first_missing} to {self.next_sequence - 1} cannot be read"
        )


Item = tuple[Record | Damage, Position]


def read(
    folder: Path,
    start: Position | None = None,
    until: Position | None = None,
    *,
    unreadable: dict[int, OSError] | None = None,
) -> Iterator[Item]:
    """Records from `start` on, each with the position after it, up to the intact end.

    A torn or zero-filled tail ends the reading. Damage with intact records behind it is yielded as
    `Damage` and reading goes on after it. Records already seen (written again after a failed
    fdatasync) are passed over by their sequence. `until` stops the reading before that sequence.
    A segment that the system cannot read raises its OSError; given `unreadable`, that is noted
    there by the segment's number and reading goes on behind it.
    """
    here = start or Position()
    within = until is not None and 0 < here.segment == until.segment
    for number in [here.segment] if within else segment_numbers(folder):
        if number < here.segment:
            continue
        offset = here.offset if number == here.segment else 0
        offset = max(offset, len(HEAD))
        try:
            buffer = read_from(folder, number, offset)
        except OSError as error:
            if unreadable is None:
                raise
            unreadable[number] = error
            continue
        for item in _read_segment(number, buffer, offset, here.sequence):
            here = item[1]
            if until is not None and here.sequence > until.sequence:
                return
            yield item


def _read_segment(number: int, buffer: bytes, base: int, expected: int) -> Iterator[Item]:
    at = 0
    while at < len(buffer):
        found = unpack(buffer, at)
        if found is None:
            again = find_next(buffer, at + 1)
            if again < 0:
                return
            found = unpack(buffer, again)
            if found is None:
                return
            if found[0].sequence >= expected > 0:
                damage = Damage(number, base + at, base + again, expected, found[0].sequence)
                expected = found[0].sequence
                yield damage, Position(number, base + again, expected)
            at = again
        record, end = found
        if record.sequence < expected:
            at = end
            continue
        if 0 < expected < record.sequence:
            lost = Damage(number, base + at, base + at, expected, record.sequence)
            yield lost, Position(number, base + at, record.sequence)
        expected = record.sequence + 1
        at = end
        yield record, Position(number, base + end, expected)
