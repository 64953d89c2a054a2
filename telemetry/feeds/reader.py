"""Reads one source on a thread of its own and puts what it gave into a journal.

Shared by the intake worker and the collector beside a table. The reading thread touches neither
disk nor database; `journal` is called by whoever owns the writer.
"""

from __future__ import annotations

import logging
import threading
import time
from collections import deque
from collections.abc import Callable, Sequence
from typing import cast

from telemetry.errors import SourceError
from telemetry.feeds.base import BLOCK_BYTES, ByteSource, Chunk, Known
from telemetry.feeds.ports import Polled, Ports
from telemetry.journal import Kind, Writer
from telemetry.journal.writer import clock_us
from telemetry.said import said, to_reader

log = logging.getLogger("telemetry.worker")
_QUEUE_BYTES = 4 * BLOCK_BYTES  # a patient source waits beyond this
_MUCH_BYTES = 2048  # of one reading: more is on its way already
_RETRY_FIRST_S, _RETRY_LAST_S = 0.2, 10.0


class Reader:
    """A source, its queue and its journal. `source`, `known` and `writer` are set before use."""

    source: ByteSource
    known: Known
    writer: Writer
    joins = False  # whether pieces that came within a commit may become one record

    def __init__(self, name: str) -> None:
        self.name = name
        self.link, self.message = "waiting", ""
        self.since = clock_us()
        self.last_byte: tuple[int, int] | None = None
        self.stop = threading.Event()
        self.synced = threading.Event()  # set after each fdatasync; the worker shares one
        self.full = threading.Event()  # set where the queue should not wait for its turn
        self.ports: Ports | None = None  # who reads it once it is open, instead of its own thread
        self._queue: deque[tuple[Chunk, int, int]] = deque()
        self._came_bytes = self._gone_bytes = 0  # through the queue; a thread counts each
        self._quiet_since: float | None = None
        self._thread: threading.Thread | None = None

    @property
    def _queued_bytes(self) -> int:
        return self._came_bytes - self._gone_bytes

    def start(self) -> None:
        """Begins to read; does nothing where it is read already."""
        if self._thread is not None:
            return
        name = f"feed-{self.name}"
        self._thread = threading.Thread(target=self._read_until_stopped, name=name, daemon=True)
        self._thread.start()

    def read_once(self, full: Callable[[], None]) -> None:
        """Reads until nothing comes for a moment; `full` is called where the queue should be
        emptied. Raises SourceError."""
        try:
            for chunk in self.source.open(self.known):
                self._put(chunk)
            self._read_until_quiet(full)
        finally:
            self.source.close()

    def _read_until_quiet(self, full: Callable[[], None]) -> None:
        quiet_turns = 0
        while quiet_turns < 5 and not self.stop.is_set():
            chunks = self.source.read()
            for chunk in chunks:
                self._put(chunk)
            if self._queued_bytes >= BLOCK_BYTES:
                full()
            if not self.source.unsettled:
                quiet_turns = 0 if chunks else quiet_turns + 1

    def journal(self) -> bool:
        """Writes what is queued; True if there was any. Raises JournalError, losing nothing."""
        took = self.take_in()
        if self.writer.pending_bytes:
            self.writer.sync()
            self.synced.set()
        return took or bool(self._queue)

    def take_in(self) -> bool:
        """Hands what is queued to the writer, as records to be; True if there was any."""
        took = False
        while self._queue and self.writer.pending_bytes < 4 * BLOCK_BYTES:
            chunk, utc_us, mono_us = self._next_chunk()
            self.writer.append(
                chunk.kind, meta=chunk.meta, body=chunk.body, utc_us=utc_us, mono_us=mono_us
            )
            took = True
            if chunk.kind is Kind.DATA:
                self._quiet_since = time.monotonic()
        return took

    def _next_chunk(self) -> tuple[Chunk, int, int]:
        """The next record to be: what came in small pieces as one, arrived with its last. Where
        lines are timed by their arrival each piece keeps its own."""
        chunk, utc_us, mono_us = self._queue.popleft()
        bodies, at = [chunk.body], chunk.meta.get("at", 0) + len(chunk.body)
        while self.joins and self._queue and at - chunk.meta.get("at", 0) < BLOCK_BYTES:
            more = self._queue[0][0]
            if (
                not chunk.body
                or more.kind is not chunk.kind
                or more.meta != {**chunk.meta, "at": at}
            ):
                break
            more, utc_us, mono_us = self._queue.popleft()
            bodies.append(more.body)
            at += len(more.body)
        body = b"".join(bodies)
        self._gone_bytes += len(body)
        return Chunk(chunk.kind, chunk.meta, body), utc_us, mono_us

    def join(self) -> None:
        """Stops reading; the queue keeps what was read."""
        self.stop.set()
        if self.ports is not None:
            self.ports.wake()
        if self._thread is not None:
            self._thread.join(timeout=5)

    def _put(self, chunk: Chunk) -> None:
        utc_us, mono_us = clock_us()
        self._queue.append((chunk, utc_us, mono_us))
        self._came_bytes += len(chunk.body)
        if chunk.body:
            self.last_byte = utc_us, mono_us
        if self._queued_bytes >= BLOCK_BYTES:
            self.full.set()

    def _put_all(self, chunks: Sequence[Chunk]) -> bool:
        for chunk in chunks:
            self._put(chunk)
        return any(len(chunk.body) >= _MUCH_BYTES for chunk in chunks)

    def _read_until_stopped(self) -> None:
        wait_s, told = _RETRY_FIRST_S, ""
        while not self.stop.is_set():
            opened = time.monotonic()
            try:
                for chunk in self.source.open(self.known):
                    self._put(chunk)
                self._now("open", "")
                self._read_while_open()
            except SourceError as error:
                self._now("failed" if not error.retry else "waiting", error.message)
                if self.link == "failed" and error.message != told:
                    told = error.message  # once, not again at every attempt
                    log.error("%s: %s", self.name, told)
            except Exception as error:  # a fault of our own: shown, and tried again
                log.exception("%s: reading failed", self.name)
                self._now("failed", to_reader(said("reading failed: {error}", error=repr(error))))
            finally:
                self.source.close()
            # A port that opens and dies at once is backed off from like one that does not open.
            wait_s = min(wait_s * 2, _RETRY_LAST_S)
            if time.monotonic() - opened > _RETRY_LAST_S:
                wait_s = _RETRY_FIRST_S
            self.stop.wait(wait_s)

    def _read_while_open(self) -> None:
        if self.ports is not None and self.source.descriptor >= 0:
            self.ports.read_until_lost(cast(Polled, self.source), self._put_all, self.stop)
            return
        while not self.stop.is_set():
            if self.source.patient and self._queued_bytes > _QUEUE_BYTES:
                self.stop.wait(0.02)
                continue
            for chunk in self.source.read():
                self._put(chunk)

    def _now(self, link: str, message: str) -> None:
        if (link, message) != (self.link, self.message):
            self.link, self.message, self.since = link, message, clock_us()
