"""Many plain lines at once: the usual line of columns read by arrays instead of one by one.

A line is plain here if it has all the stated columns, nothing but printable ASCII without quotes,
an ISO stamp without an offset or with Z in an hour without a change of clocks, a signal word as it
is listed, and values that are numbers as they stand. Every other line is left to the decoder, which
reads all lines; what this reads it reads alike (tests hold the two against each other).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Final, NamedTuple

import numpy as np

from telemetry.decode.column_values import Values
from telemetry.decode.column_words import Words
from telemetry.decode.lines import MAX_LINE_BYTES
from telemetry.decode.row_blocks import ColumnBlock
from telemetry.description import Description
from telemetry.errors import ParseError
from telemetry.events import LONGEST_PROGRAM, LONGEST_TORCH, PROGRAM, SAMPLE_A, Event
from telemetry.parsers.stamps import EARLIEST_US, LATEST_US, SECOND_US, IsoReader

Ints = np.ndarray[Any, np.dtype[np.int64]]
Flags = np.ndarray[Any, np.dtype[np.bool_]]
Bytes = np.ndarray[Any, np.dtype[np.uint8]]

_SEQ_DIGITS: Final = 18
_PLAIN_STAMP: Final = 19  # 2026-03-10T06:00:00
_HOUR_US: Final = 3600 * SECOND_US
# Where clocks change, they change by half an hour at least: one of these minutes shows it.
_PROBES: Final = (0, 15, 30, 45, 59)
_CACHED: Final = 65_536


@dataclass(slots=True)
class Block:
    """Whole lines: where each begins and ends behind its newline, which are plain, and what those
    say. Entries of lines that are not plain mean nothing. `breaks` are the lines that do not
    plainly follow the one before, and the count of all."""

    starts: Ints
    ends: Ints
    plain: Flags
    breaks: list[int]
    lines: ColumnBlock

    def events(self, first: int, last: int, about: About) -> list[Event]:
        """Lines `first` to before `last`, as events."""
        rows = self.lines.part(first, last).rows(0, 0)
        starts = self.starts[first:last].tolist()
        return [
            Event(
                row[0].hex(), row[1], row[5], row[4], row[2], about.session, row[8], row[6], row[7],
                0, about.position + start, about.line + n, about.arrival_us, about.source,
            )
            for n, (row, start) in enumerate(zip(rows, starts, strict=True))
        ]  # fmt: skip


class About(NamedTuple):
    """What the lines of one block share, and the number of the first of them."""

    session: int
    position: int  # of the block
    line: int
    arrival_us: int | None
    source: str


class ColumnReader:
    """Reads blocks of one feed. `make` says whether there is any for a description."""

    def __init__(self, description: Description) -> None:
        self._separator = ord(description.line.separator)
        self._iso = IsoReader(description.time.zone, 0)
        self._words = Words(description.signals)
        self._torch = description.torch
        self._torches: dict[bytes, str | None] = {}
        self._values = Values()
        self._hours: dict[tuple[int, bool], tuple[int, int] | None] = {}
        self._layout: list[str] = []

    @staticmethod
    def make(description: Description) -> ColumnReader | None:
        """A reader, where lines of this feed can be plain: columns with a number and a stamp."""
        line, time = description.line, description.time
        fits = (
            line.format == "columns" and line.checksum == "none" and line.decimal == "."
            and len(line.separator) == 1 and line.separator in ",;|\t"
            and time.source == "line" and time.format == "iso" and description.has_seq
        )  # fmt: skip
        return ColumnReader(description) if fits else None

    def read(self, raw: bytes, layout: list[str]) -> Block:
        """A block that begins and ends with a line, its columns in the order of `layout`."""
        bytes_ = np.frombuffer(raw, np.uint8)
        after = np.flatnonzero(bytes_ == 10) + 1
        starts = np.concatenate(([0], after[:-1])) if len(after) else after
        ends = after - 1
        has_return = (ends > starts) & (bytes_[ends - 1] == 13)
        plain = self._printable(bytes_, starts, after, ends[has_return] - 1)
        ends = ends - has_return
        plain &= (ends > starts) & (ends - starts <= MAX_LINE_BYTES)
        fields = self._fields(bytes_, starts, ends, plain, layout)
        seqs = _numbers(bytes_, *fields["seq"], plain)
        times, marks = self._times(bytes_, *fields["time"], plain)
        lines = self._lines(raw, bytes_, fields, plain, seqs, times, marks)
        follows = plain[1:] & plain[:-1] & (np.diff(seqs) == 1) & (np.diff(times) >= 0)
        breaks = [*(np.flatnonzero(~follows) + 1).tolist(), len(starts)]
        return Block(starts, after, plain, breaks, lines)

    def _printable(self, bytes_: Bytes, starts: Ints, after: Ints, returns: Ints) -> Flags:
        odd = (bytes_ < 32) | (bytes_ > 126) | (bytes_ == 34)
        odd[after - 1] = False
        odd[returns] = False
        if self._separator == 9:
            odd &= bytes_ != 9
        plain = np.ones(len(starts), np.bool_)
        plain[np.searchsorted(after, np.flatnonzero(odd), side="right")] = False
        return plain

    def _fields(
        self, bytes_: Bytes, starts: Ints, ends: Ints, plain: Flags, layout: list[str]
    ) -> dict[str, tuple[Ints, Ints]]:
        """Start and end of each named column."""
        marks = np.flatnonzero(bytes_ == self._separator)
        first = np.searchsorted(marks, starts)
        plain &= np.searchsorted(marks, ends) - first == len(layout) - 1
        # Lines with another number of columns point anywhere; they are not plain.
        marks = np.append(marks, np.zeros(len(layout), np.int64))
        fields = {}
        for at, name in enumerate(layout):
            if name != "ignore":
                start = starts if at == 0 else marks[first + at - 1] + 1
                end = ends if at == len(layout) - 1 else marks[first + at]
                fields[name] = (start, end)
        return fields

    def _times(self, bytes_: Bytes, start: Ints, end: Ints, plain: Flags) -> tuple[Ints, Ints]:
        """Times in us and marks."""
        last = len(bytes_) - 1

        def at(place: int | Ints) -> Ints:
            found: Ints = bytes_[np.clip(start + place, 0, last)].astype(np.int64)
            return found

        is_zulu = bytes_[np.clip(end - 1, 0, last)] == 90
        fraction = end - start - _PLAIN_STAMP - is_zulu
        plain &= (fraction == 0) | ((fraction >= 2) & (fraction <= 7) & (at(_PLAIN_STAMP) == 46))
        for place, byte in ((4, 45), (7, 45), (13, 58), (16, 58)):
            plain &= at(place) == byte
        plain &= (at(10) == 84) | (at(10) == 32)

        def number(places: tuple[int, ...]) -> Ints:
            total = np.zeros(len(start), np.int64)
            for place in places:
                digit = at(place) - 48
                np.logical_and(plain, (digit >= 0) & (digit <= 9), out=plain)
                total = total * 10 + digit
            return total

        hour = number((0, 1, 2, 3, 5, 6, 8, 9, 11, 12))
        minute, second = number((14, 15)), number((17, 18))
        plain &= (minute < 60) & (second < 60)
        part = np.zeros(len(start), np.int64)
        for place in range(1, 7):
            digit = np.where(place < fraction, at(_PLAIN_STAMP + place) - 48, 0)
            plain &= (digit >= 0) & (digit <= 9)
            part = part * 10 + digit
        past = (minute * 60 + second) * SECOND_US + part
        times, marks = self._hours_of(hour, is_zulu, plain)
        times += past
        plain &= (times >= EARLIEST_US) & (times < LATEST_US)
        return times, marks + (past << 12)

    def _hours_of(self, hours: Ints, is_zulu: Flags, plain: Flags) -> tuple[Ints, Ints]:
        known, inverse = np.unique(np.where(plain, hours * 2 + is_zulu, 0), return_inverse=True)
        readings = [self._hour(int(code) // 2, bool(code % 2)) for code in known]
        plain &= np.array([reading is not None for reading in readings], np.bool_)[inverse]
        pairs = np.array([reading or (0, 0) for reading in readings], np.int64)[inverse]
        return pairs[:, 0], pairs[:, 1]

    def _hour(self, hour: int, is_zulu: bool) -> tuple[int, int] | None:
        """Time and mark of an hour's start; None where the hour is no plain one."""
        if (hour, is_zulu) not in self._hours:
            if len(self._hours) > _CACHED:
                self._hours.clear()
            self._hours[hour, is_zulu] = self._read_hour(hour, is_zulu)
        return self._hours[hour, is_zulu]

    def _read_hour(self, hour: int, is_zulu: bool) -> tuple[int, int] | None:
        text = f"{hour:010d}"
        head = f"{text[:4]}-{text[4:6]}-{text[6:8]}T{text[8:]}"
        try:
            readings = [
                self._iso.minute(f"{head}:{probe:02d}", "Z" if is_zulu else None)
                for probe in _PROBES
            ]
        except ParseError:
            return None
        start, _, mark = readings[0]
        for probe, (early, late, _) in zip(_PROBES, readings, strict=True):
            if early != late or early - start != probe * 60 * SECOND_US:
                return None
        return start, mark

    def _lines(
        self,
        raw: bytes,
        bytes_: Bytes,
        fields: dict[str, tuple[Ints, Ints]],
        plain: Flags,
        seqs: Ints,
        times: Ints,
        marks: Ints,
    ) -> ColumnBlock:
        kinds = self._words.kinds_of(raw, bytes_, *fields["signal"])
        plain &= kinds > 0
        count = len(plain)
        values = np.full(count, np.nan)
        names: list[str] = []
        named = np.flatnonzero(plain & (kinds == PROGRAM))
        start, end = fields.get("value", (np.zeros(count, np.int64),) * 2)
        measured = np.flatnonzero(plain & (kinds >= SAMPLE_A))
        values[measured], plain[measured] = self._values.read(
            raw, bytes_, start[measured], end[measured]
        )
        for at in named.tolist():
            name = raw[start[at] : end[at]].decode().strip()
            names.append(name)
            plain[at] = 0 < len(name) <= LONGEST_PROGRAM
        torches: list[str] = []
        if "torch" in fields or self._torch is None:
            torches = self._torches_of(raw, fields.get("torch"), plain, kinds)
        keys = np.empty((count, 2), ">u8")
        keys[:, 0], keys[:, 1] = marks, seqs
        torch = None if torches else self._torch
        return ColumnBlock(
            bytes_, keys, times, seqs, kinds, values, *fields["time"], torch, torches, named, names
        )

    def _torches_of(
        self, raw: bytes, field: tuple[Ints, Ints] | None, plain: Flags, kinds: Ints
    ) -> list[str]:
        """The torch of each line; a program can be the whole table's."""
        found: list[str | None] = [self._torch] * len(plain)
        if field is not None:
            plain &= field[1] - field[0] <= LONGEST_TORCH
            starts, ends = field[0].tolist(), np.where(plain, field[1], field[0]).tolist()
            pairs = zip(starts, ends, strict=True)
            found = [self._torch_of(raw[first:last]) for first, last in pairs]
        plain &= np.array([torch is not None for torch in found], np.bool_) | (kinds == PROGRAM)
        return [torch or "" for torch in found]

    def _torch_of(self, word: bytes) -> str | None:
        """The torch a line names, the feed's where it names none; None where neither does."""
        found = self._torches.get(word)
        if found is None and word not in self._torches:
            if len(self._torches) > _CACHED:
                self._torches.clear()
            found = self._torches[word] = word.decode("latin-1").strip() or self._torch
        return found


def _numbers(bytes_: Bytes, start: Ints, end: Ints, plain: Flags) -> Ints:
    """Whole numbers of plain digits."""
    length = end - start
    plain &= (length >= 1) & (length <= _SEQ_DIGITS)
    total = np.zeros(len(start), np.int64)
    widest = int(length[plain].max()) if plain.any() else 0
    scale = 1
    for back in range(1, widest + 1):
        digit = np.where(back <= length, bytes_[np.maximum(end - back, 0)].astype(np.int64) - 48, 0)
        plain &= (digit >= 0) & (digit <= 9)
        total += digit * scale
        scale *= 10
    return total
