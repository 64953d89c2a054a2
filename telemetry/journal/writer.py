"""Appends to a journal. `sync` returning is the acknowledgement: until then nothing is promised."""

from __future__ import annotations

import contextlib
import os
import time
from pathlib import Path
from typing import Any

from telemetry.journal.reader import Damage, Position, read
from telemetry.journal.recent import Recent
from telemetry.journal.record import Kind, Record
from telemetry.journal.segments import HEAD, segment_numbers, segment_path, sync_folder

SEGMENT_BYTES = 64 * 1024 * 1024


class JournalError(OSError):
    """The journal cannot be written now (disk full or failing). What waits is kept: try again."""


class Writer:
    """The only writer of one folder; the caller holds the feed's lock.

    `floor` is how far readers have already been. A journal that ends before it has lost records;
    numbering goes on behind them in a new segment, so that readers pass over nothing new.
    """

    def __init__(
        self,
        folder: Path,
        *,
        floor: Position | None = None,
        segment_bytes: int = SEGMENT_BYTES,
    ) -> None:
        self._folder = folder
        self._segment_bytes = segment_bytes
        self._pending: list[tuple[Record, bytes]] = []
        self._written = 0  # how many of them are in the file, and wait to be made durable
        self.pending_bytes = 0
        self.recent: Recent | None = None  # where records go that are durable
        self.damages: list[Damage] = []
        folder.mkdir(parents=True, exist_ok=True)
        self._descriptor = self._device = -1
        self._segment, self._offset = 0, 0
        self._sequence = self._durable_sequence = 1
        self._open_end()
        if floor is not None and floor.sequence > self._sequence:
            self.damages.append(
                Damage(self._segment, self._offset, self._offset, self._sequence, floor.sequence)
            )
            self._segment = max(self._segment, floor.segment)
            self._sequence = self._durable_sequence = floor.sequence
            self._close()

    @property
    def durable(self) -> Position:
        """What is on disk for good; a reader may go this far."""
        return Position(self._segment, self._offset, self._durable_sequence)

    @property
    def device(self) -> int:
        """Of the file that was last written."""
        return self._device

    def append(
        self, kind: Kind, *, meta: dict[str, Any], body: bytes = b"", utc_us: int, mono_us: int
    ) -> int:
        """Queues one record and returns its sequence number. Touches no disk."""
        sequence = self._sequence
        record = Record(kind, sequence, utc_us, mono_us, meta, body)
        packed = record.pack()
        self._pending.append((record, packed))
        self.pending_bytes += len(packed)
        self._sequence += 1
        return sequence

    def sync(self) -> Position:
        """Writes what is queued and makes it durable. On `JournalError` all of it stays queued."""
        if self._pending:
            self.write()
            self.harden()
        return self.durable

    def write(self) -> None:
        """The first half of `sync`: hands what is queued to the system. Not yet a promise. With
        many journals all are written before the first is waited for."""
        data = b"".join(packed for _, packed in self._pending)
        try:
            if self._descriptor < 0 or self._offset >= self._segment_bytes:
                self._next_segment()
            _write_at(self._descriptor, data, self._offset)
        except OSError as error:
            raise JournalError(f"{self._folder}: {error.strerror or error}") from error
        self._written = len(self._pending)

    def harden(self) -> None:
        """The second half: what was written is durable once this returns. It may run on another
        thread, while nobody else touches this writer."""
        try:
            os.fdatasync(self._descriptor)
        except OSError as error:
            raise self.failed(error) from error
        self.hardened()

    def failed(self, error: OSError) -> JournalError:
        """What was written could not be made durable; the error to raise. The kernel may have
        dropped the pages: this file's tail is never trusted again. The same records go to a new
        segment, where readers know them by number."""
        self._written = 0
        self._close()
        return JournalError(f"{self._folder}: {error.strerror or error}")

    def hardened(self) -> None:
        """What was written is durable, by whichever call."""
        done, self._pending = self._pending[: self._written], self._pending[self._written :]
        self._written = 0
        for record, packed in done:
            self._offset += len(packed)
            self.pending_bytes -= len(packed)
            self._durable_sequence = record.sequence + 1
            if self.recent is not None:
                self.recent.add(record, self.durable)

    def close(self) -> None:
        with contextlib.suppress(JournalError):
            self.sync()
        self._close()

    def _open_end(self) -> None:
        """Finds the intact end, cuts a torn tail off it, and notes damage that is not a tail."""
        numbers = segment_numbers(self._folder)
        self._segment = numbers[-1] if numbers else 0
        end = Position()
        for what, end in read(self._folder, self._tail_start(numbers)):
            self._sequence = end.sequence
            if isinstance(what, Damage):
                self.damages.append(what)
        self._durable_sequence = self._sequence
        if not numbers:
            return
        self._offset = end.offset if end.segment == self._segment else len(HEAD)
        path = segment_path(self._folder, self._segment)
        self._descriptor = os.open(path, os.O_RDWR)
        self._device = os.fstat(self._descriptor).st_dev
        self._keep_torn(path)
        os.ftruncate(self._descriptor, self._offset)
        _write_at(self._descriptor, HEAD, 0)
        self._offset = max(self._offset, len(HEAD))
        os.fdatasync(self._descriptor)

    def _keep_torn(self, path: Path) -> None:
        """Bytes cut off the tail were never acknowledged, unless the disk rotted: kept aside."""
        with path.open("rb") as handle:
            handle.seek(self._offset)
            torn = handle.read()
        if torn.strip(b"\x00"):
            path.with_suffix(f".torn-{self._offset}").write_bytes(torn)

    def _tail_start(self, numbers: list[int]) -> Position | None:
        """Only the last two segments are read on opening; the rest were whole when they closed."""
        for number in reversed(numbers[:-1]):
            first = next(iter(read(self._folder, Position(number, 0, 0))), None)
            if first is not None and first[1].segment == number:
                what = first[0]
                sequence = what.next_sequence if isinstance(what, Damage) else what.sequence
                return Position(number, 0, sequence)
        return None

    def _next_segment(self) -> None:
        self._close()
        number = max([self._segment, *segment_numbers(self._folder)]) + 1
        path = segment_path(self._folder, number)
        descriptor = os.open(path, os.O_RDWR | os.O_CREAT | os.O_EXCL, 0o640)
        try:
            _write_at(descriptor, HEAD, 0)
            os.fsync(descriptor)
            sync_folder(self._folder)
        except OSError:
            os.close(descriptor)
            with contextlib.suppress(OSError):
                path.unlink()
            raise
        self._descriptor, self._segment, self._offset = descriptor, number, len(HEAD)
        self._device = os.fstat(descriptor).st_dev

    def _close(self) -> None:
        if self._descriptor >= 0:
            os.close(self._descriptor)
            self._descriptor = -1


def clock_us() -> tuple[int, int]:
    """Now by the host's wall clock (UTC) and by its monotonic clock, in microseconds."""
    return time.time_ns() // 1000, time.monotonic_ns() // 1000


def _write_at(descriptor: int, data: bytes, offset: int) -> None:
    """Always at a known offset, so that a write cut short by a full disk is done over."""
    view = memoryview(data)
    while view:
        written = os.pwrite(descriptor, view, offset)
        view, offset = view[written:], offset + written
