"""One feed in the worker: its source, its queue, its journal, its way into the database."""

from __future__ import annotations

import logging
import time

from telemetry.clockwatch import ClockJump
from telemetry.description import parse_description
from telemetry.errors import TelemetryError
from telemetry.feeds import make_source
from telemetry.feeds.base import Known
from telemetry.feeds.reader import Reader
from telemetry.journal import Damage, JournalError, Kind, Position, Recent, Writer
from telemetry.journal.writer import clock_us
from telemetry.locks import Lock
from telemetry.models import Feed, FeedVersion, SourcePosition
from telemetry.paths import journal_folder, lock_path
from telemetry.worker.lane_runner import LaneRunner, announce, is_announced
from telemetry.worker.remembered import recall, remember
from telemetry.worker.trouble import Trouble

log = logging.getLogger("telemetry.worker")
_QUIET_S = 0.25  # a window of nothing needs no letting go after every line


class StartAnew(TelemetryError):
    """It must be closed and prepared again."""


class Runner(Reader):
    """Reads one feed. `prepare` needs the database, reading and journalling do not."""

    def __init__(self, feed: Feed) -> None:
        self.feed = feed
        self.lock = Lock(lock_path(feed.name, "live"), f"feed {feed.name!r}")
        super().__init__(feed.name)
        self.journal_fault = ""
        self.trouble = Trouble(feed.name)
        self.jumps: list[ClockJump] = []
        self.damages: list[Damage] = []
        self.settled = 0.0  # when sums left for later were brought up to date, by monotonic clock
        self.ready = False  # prepared: source, journal and storing are there
        self.reads = False  # source and journal are there, and it may be read

    def prepare(self) -> None:
        """Brings the database up to the journal, then puts what is in force into the journal.

        Where it is read already, since the database was away, what is in force must be in the
        journal; else StartAnew is raised.
        """
        if self.reads:
            self.feed = Feed.objects.get(name=self.feed.name)
            self.storing = LaneRunner(self.feed, "live")
            self.storing.drain(self.writer.durable)
            if not is_announced(self.feed, self.storing.lane):
                raise StartAnew(f"{self.feed.name}: another description or clock is in force")
            self.ready = True
            return
        self.storing = LaneRunner(self.feed, "live")
        self.storing.drain()
        text = FeedVersion.objects.get(feed=self.feed, version=self.feed.version).text
        self._make_source(text)
        lane = self.storing.lane
        self._open_journal(lane.position)
        announce(self.feed, lane, self.writer)
        self.storing.drain(self.writer.durable)
        files = SourcePosition.objects.filter(feed=self.feed).order_by("generation")
        self.known = Known(
            lane.bytes_end, lane.bytes_end > 0, tuple(dict(row) for row in files.values())
        )
        if lane.waiting:
            self._quiet_since = time.monotonic()
        self.reads = self.ready = True
        remember(self.feed, text, lane.position, self.known)

    def read_without_database(self) -> bool:
        """Reads into the journal by what was remembered of the source; False where nothing was."""
        found = recall(self.feed.name)
        if found is None or self.reads:
            return self.reads
        self._make_source(found.text)
        self._open_journal(found.position)
        self.known = found.known_now()
        self.reads = True
        return True

    def _make_source(self, text: str) -> None:
        self.description = parse_description(text, name=self.feed.name)
        self.source = make_source(self.description, name=self.feed.name)
        self.source.check()
        self.joins = not self.description.times_from_arrival

    def _open_journal(self, floor: Position) -> None:
        if hasattr(self, "writer"):  # of an attempt that came no further
            self.writer.close()
        self.writer = Writer(journal_folder(self.feed.name, "live"), floor=floor)
        self.damages = self.writer.damages

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
        if self.reads:
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
