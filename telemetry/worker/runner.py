"""One feed in the worker: its source, its queue, its journal, its way into the database."""

from __future__ import annotations

import logging
import threading
import time
from collections import deque

from telemetry.description import parse_description
from telemetry.errors import SourceError
from telemetry.feeds import make_source
from telemetry.feeds.base import BLOCK_BYTES, Chunk, Known
from telemetry.journal import JournalError, Kind, Writer
from telemetry.journal.writer import clock_us
from telemetry.locks import Lock
from telemetry.models import Feed, FeedVersion, SourcePosition
from telemetry.paths import journal_folder, lock_path
from telemetry.worker.storing import Storing, announce

log = logging.getLogger("telemetry.worker")
_QUEUE_BYTES = 4 * BLOCK_BYTES  # a patient source waits beyond this
_RETRY_FIRST_S, _RETRY_LAST_S = 0.2, 10.0


class Runner:
    """Reads one feed. `prepare` needs the database; after it the reading thread needs nothing."""

    def __init__(self, feed: Feed) -> None:
        self.feed = feed
        self.lock = Lock(lock_path(feed.name, "live"), f"feed {feed.name!r}")
        self.link, self.message = "waiting", ""
        self.journal_fault = self.stuck = ""
        self.stuck_until = 0.0
        self.ready = False  # prepared: source, journal and storing are there
        self.since_us = clock_us()[0]
        self.last_byte_us: int | None = None
        self.stop = threading.Event()
        self.synced = threading.Event()  # set after each fdatasync; the worker shares one
        self._queue: deque[tuple[Chunk, int, int]] = deque()
        self._queued_bytes = 0
        self._quiet_since: float | None = None
        self._thread: threading.Thread | None = None

    def prepare(self) -> None:
        """Brings the database up to the journal, then puts what is in force into the journal."""
        text = FeedVersion.objects.get(feed=self.feed, version=self.feed.version).text
        self.description = parse_description(text, name=self.feed.name)
        self.source = make_source(self.description, name=self.feed.name)
        self.source.check()
        self.storing = Storing(self.feed, "live")
        self.storing.drain()
        lane = self.storing.lane
        self.writer = Writer(journal_folder(self.feed.name, "live"), floor=lane.position)
        self.damages = self.writer.damages
        announce(self.feed, lane, self.writer)
        self.storing.drain(self.writer.durable)
        files = SourcePosition.objects.filter(feed=self.feed).order_by("generation")
        self.known = Known(
            lane.bytes_end, lane.bytes_end > 0, tuple(dict(row) for row in files.values())
        )
        if lane.waiting:
            self._quiet_since = time.monotonic()
        self.ready = True

    def start(self) -> None:
        name = f"feed-{self.feed.name}"
        self._thread = threading.Thread(target=self._read_until_stopped, name=name, daemon=True)
        self._thread.start()

    def read_what_is_there(self) -> None:
        """For `--once`: reads until nothing comes for a moment. Raises SourceError."""
        for chunk in self.source.open(self.known):
            self._put(chunk)
        quiet_turns = 0
        while quiet_turns < 5 and not self.stop.is_set():
            chunks = self.source.read()
            for chunk in chunks:
                self._put(chunk)
            if self._queued_bytes >= BLOCK_BYTES:
                self.journal()
                self.storing.drain(self.writer.durable)
            if not self.source.unsettled:
                quiet_turns = 0 if chunks else quiet_turns + 1
        self.source.close()

    def journal(self) -> bool:
        """Writes what is queued; True if there was any. Raises JournalError, losing nothing."""
        took = False
        while self._queue and self.writer.pending_bytes < 4 * BLOCK_BYTES:
            chunk, utc_us, mono_us = self._queue.popleft()
            self._queued_bytes -= len(chunk.body)
            self.writer.append(
                chunk.kind, meta=chunk.meta, body=chunk.body, utc_us=utc_us, mono_us=mono_us
            )
            took = True
            if chunk.kind is Kind.DATA:
                self._quiet_since = time.monotonic()
        if self.writer.pending_bytes:
            self.writer.sync()
            self.synced.set()
        return took or bool(self._queue)

    def flush_if_quiet(self, *, now: bool = False) -> None:
        """Lets the reorder window go once nothing has come for as long as it is, as a record."""
        if self._quiet_since is None:
            return
        if now or time.monotonic() - self._quiet_since >= self.description.window_s:
            self._quiet_since = None
            utc_us, mono_us = clock_us()
            self.writer.append(Kind.FLUSH, meta={}, utc_us=utc_us, mono_us=mono_us)
            self.writer.sync()
            self.synced.set()

    def end(self) -> None:
        """Stops reading and journals the rest. The database may be behind; the journal is not."""
        self.stop.set()
        if self._thread is not None:
            self._thread.join(timeout=5)
        if self.ready:
            try:
                while self.journal():
                    pass
            except JournalError as error:
                log.error("%s: %s; its last bytes are lost", self.feed.name, error)
            self.writer.close()
        self.lock.release()

    def _put(self, chunk: Chunk) -> None:
        utc_us, mono_us = clock_us()
        self._queue.append((chunk, utc_us, mono_us))
        self._queued_bytes += len(chunk.body)
        if chunk.body:
            self.last_byte_us = utc_us

    def _read_until_stopped(self) -> None:
        wait_s = _RETRY_FIRST_S
        while not self.stop.is_set():
            opened = time.monotonic()
            try:
                for chunk in self.source.open(self.known):
                    self._put(chunk)
                self._now("open", "")
                self._read_while_open()
            except SourceError as error:
                self._now("failed" if not error.retry else "waiting", error.message)
                if self.link == "failed":
                    log.error("%s: %s", self.feed.name, error.message)
            except Exception as error:  # a fault of our own: shown, and tried again
                log.exception("%s: reading failed", self.feed.name)
                self._now("failed", f"reading failed: {error!r}")
            finally:
                self.source.close()
            # A port that opens and dies at once is backed off from like one that does not open.
            wait_s = min(wait_s * 2, _RETRY_LAST_S)
            if time.monotonic() - opened > _RETRY_LAST_S:
                wait_s = _RETRY_FIRST_S
            self.stop.wait(wait_s)

    def _read_while_open(self) -> None:
        while not self.stop.is_set():
            if self.source.patient and self._queued_bytes > _QUEUE_BYTES:
                self.stop.wait(0.02)
                continue
            for chunk in self.source.read():
                self._put(chunk)

    def _now(self, link: str, message: str) -> None:
        if (link, message) != (self.link, self.message):
            self.link, self.message, self.since_us = link, message, clock_us()[0]
