"""One feed in the worker: its source, its queue, its journal, its way into the database."""

from __future__ import annotations

import logging
import time

from telemetry.clockwatch import ClockJump
from telemetry.description import parse_description
from telemetry.feeds import make_source
from telemetry.feeds.base import Known
from telemetry.journal import JournalError, Kind, Recent, Writer
from telemetry.journal.writer import clock_us
from telemetry.locks import Lock
from telemetry.models import Feed, FeedVersion, SourcePosition
from telemetry.paths import journal_folder, lock_path
from telemetry.reading import Reader
from telemetry.worker.storing import Storing, announce

log = logging.getLogger("telemetry.worker")
_QUIET_S = 0.25  # a window of nothing needs no letting go after every line


class Runner(Reader):
    """Reads one feed. `prepare` needs the database; after it the reading thread needs nothing."""

    def __init__(self, feed: Feed) -> None:
        self.feed = feed
        self.lock = Lock(lock_path(feed.name, "live"), f"feed {feed.name!r}")
        super().__init__(feed.name)
        self.journal_fault = self.stuck = ""
        self.stuck_until = 0.0
        self.jumps: list[ClockJump] = []
        self.settled = 0.0  # when sums left for later were brought up to date, by monotonic clock
        self.ready = False  # prepared: source, journal and storing are there

    def prepare(self) -> None:
        """Brings the database up to the journal, then puts what is in force into the journal."""
        text = FeedVersion.objects.get(feed=self.feed, version=self.feed.version).text
        self.description = parse_description(text, name=self.feed.name)
        self.source = make_source(self.description, name=self.feed.name)
        self.source.check()
        self.joins = not self.description.times_from_arrival
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

    def follow_in_memory(self, most_bytes: int) -> None:
        """From here on what is journalled goes on to be stored without being read back."""
        self.writer.recent = self.storing.recent = Recent(most_bytes)
        self.storing.warm_up()

    def read_what_is_there(self) -> None:
        """For `--once`: reads until nothing comes for a moment. Raises SourceError."""
        self.read_once(self._store_some)

    @property
    def has_work(self) -> bool:
        """Whether anything is to be journalled, or soon will be."""
        return bool(self._queue) or self._quiet_since is not None or bool(self.journal_fault)

    def flush_if_quiet(self, *, now: bool = False) -> None:
        """Lets the reorder window go once nothing has come for as long as it is, as a record that
        is still to be written."""
        if self._quiet_since is None:
            return
        if now or time.monotonic() - self._quiet_since >= max(self.description.window_s, _QUIET_S):
            self._quiet_since = None
            utc_us, mono_us = clock_us()
            self.writer.append(Kind.FLUSH, meta={}, utc_us=utc_us, mono_us=mono_us)

    def end(self) -> None:
        """Stops reading and journals the rest. The database may be behind; the journal is not."""
        self.join()
        if self.ready:
            try:
                while self.journal():
                    pass
            except JournalError as error:
                log.error("%s: %s; its last bytes are lost", self.feed.name, error)
            self.writer.close()
        self.lock.release()

    def _store_some(self) -> None:
        self.journal()
        self.storing.drain(self.writer.durable)
