"""Brings one lane of a feed's journal into the database."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Any

from django.db import DatabaseError, transaction
from django.db.models import Min

from telemetry.clockwatch import KEEP, ClockWatch
from telemetry.description.versions import Versions
from telemetry.journal import Kind, Position, Recent, Writer
from telemetry.journal.writer import clock_us
from telemetry.lanes.lane import Lane
from telemetry.models import ClockOffset, Cursor, Event, Feed, FeedVersion, Reject
from telemetry.paths import journal_folder
from telemetry.selectors import clock_estimate
from telemetry.store import CursorMoved, FeedMemory, Gathered, News, commit
from telemetry.store.commit import marks_of, settle
from telemetry.store.news import is_plain
from telemetry.store.open_arcs import OpenArcs
from telemetry.store.reread_rejects import mendable
from telemetry.store.rollups import DueBuckets
from telemetry.store.uneven import torches_of
from telemetry.worker.bulk import prefetch

LIVE_KINDS = ("serial", "push")


def load_lane(feed: Feed, name: str) -> Lane:
    """The lane as its last commit left it."""
    cursor = Cursor.objects.filter(feed=feed, lane=name).first()
    if cursor is None:
        return Lane(name, versions_of(feed), position=Position(), state={})
    position = Position(cursor.segment, cursor.byte_offset, cursor.sequence)
    return Lane(name, versions_of(feed), position=position, state=cursor.state)


def versions_of(feed: Feed) -> Versions:
    def text(version: int) -> str:
        return FeedVersion.objects.get(feed=feed, version=version).text

    def in_force(instant_us: int) -> int:
        return version_in_force(feed, instant_us)

    return Versions(feed.name, text, in_force)


def version_in_force(feed: Feed, instant_us: int) -> int:
    """The description that lines were read by which came at an instant, going by what is stored
    of later ones: a line read again since names a later version, never an earlier one."""
    stored = [
        rows.filter(feed=feed, received_us__gte=instant_us).aggregate(least=Min("feed_version"))
        for rows in (Event.objects, Reject.objects)
    ]
    found = [row["least"] for row in stored if row["least"] is not None]
    return int(min([*found, feed.version]))


def announce(feed: Feed, lane: Lane, writer: Writer) -> None:
    """Puts the description and clock offsets in force into the journal, where they changed."""
    utc_us, mono_us = clock_us()
    if lane.version != feed.version:
        text = FeedVersion.objects.get(feed=feed, version=feed.version).text
        meta: dict[str, Any] = {"version": feed.version}
        writer.append(Kind.VERSION, meta=meta, body=text.encode(), utc_us=utc_us, mono_us=mono_us)
    newer = ClockOffset.objects.filter(feed=feed, version__gt=lane.clock_version)
    for clock in newer.order_by("version"):
        meta = {
            "version": clock.version,
            "offset_us": clock.offset_us,
            "from_us": clock.from_us,
            "heard_from_us": clock.heard_from_us,
        }
        writer.append(Kind.CLOCK, meta=meta, utc_us=utc_us, mono_us=mono_us)
    writer.sync()


def is_announced(feed: Feed, lane: Lane) -> bool:
    """Whether the journal has what is in force."""
    return (lane.version, lane.clock_version) == (feed.version, feed.clock_version)


class LaneRunner:
    """A lane and its way into the database. Whatever fails is tried again with the same rows."""

    def __init__(self, feed: Feed, name: str, *, in_bulk: bool = False) -> None:
        self.feed = feed
        self.in_bulk = in_bulk  # much at once and nobody waiting: decodes ahead of the database
        self._folder = journal_folder(feed.name, name)
        marks = marks_of(feed)  # before all else is read: whoever writes meanwhile is noticed
        self.lane = load_lane(feed, name)
        self._clock_watch = ClockWatch(clock_estimate(feed))
        self._heard: list[tuple[int, int]] = []  # not seen by it yet: arrival and stamp
        self._memory = FeedMemory()
        self._memory.marks = marks
        self._memory.due = DueBuckets.listed(self.lane.due)
        self.recent: Recent | None = None  # the end of the journal, where it is at hand
        self.pending: Gathered | None = None  # decoded, not committed yet
        self._source: Iterator[Gathered] | None = None

    def step(self, until: Position | None = None) -> bool:
        """Commits one transaction's worth. True if there may be more. Database errors are raised
        and change nothing: call again."""
        gathered = self._next(until)
        if gathered is None:
            return False
        try:
            if gathered.new_version is None:
                self._commit(gathered)
            else:
                self._turn(gathered, gathered.new_version)
        except CursorMoved:
            self._begin_again()
            return True
        self.stored()
        return True

    def _begin_again(self) -> None:
        """From what is stored: whatever was decoded further is decoded again."""
        self._source = self.pending = None
        self.lane = load_lane(self.feed, self.lane.name)
        self._memory.due = DueBuckets.listed(self.lane.due)

    def _turn(self, gathered: Gathered, version: int) -> None:
        """A new description, and all that it makes of lines refused before, or nothing of it."""
        try:
            with transaction.atomic():
                self._commit(gathered)
                anew = self._read_polls_again(version)
        except DatabaseError:
            self._begin_again()
            raise
        if anew:
            self._begin_again()

    def _read_polls_again(self, version: int) -> bool:
        """Polls of a bare contact that earlier descriptions refused, if a new one reads any. They
        change what those after them mean, so the feed is decoded anew; True where it was."""
        from telemetry.worker.rebuild import rebuild  # which reads lanes as this does

        versions = versions_of(self.feed)
        if not versions.description(version).is_level:
            return False
        if not mendable(self.feed, versions.text(version))[1]:
            return False
        self.feed.refresh_from_db()
        rebuild(self.feed)
        return True

    def is_done(self, until: Position) -> bool:
        """Whether all up to a position is stored."""
        return self.pending is None and until.sequence <= self.lane.position.sequence

    def plain_news(self, until: Position) -> News | None:
        """What is next, if it can be stored together with other feeds'; then call `stored`."""
        if self.is_done(until):
            return None
        gathered = self._next(until)
        news = None if gathered is None else self._news(gathered)
        return news._replace(plain=True) if news is not None and is_plain(news) else None

    def _news(self, gathered: Gathered) -> News:
        return News(self.feed, self.lane.name, gathered, self._memory)

    def warm_up(self) -> None:
        """Brings the feed's open end to hand before the first line comes."""
        description = self.lane.description
        if description is None:
            return
        open_arcs = OpenArcs(self.feed, pierces=description.knows.pierces)
        open_arcs.load(torches_of(self.feed) | {description.torch or ""}, self.lane.version)
        self._memory.open_arcs = open_arcs

    def stored(self) -> None:
        """What was next is committed."""
        if self.pending is not None:
            self._watch(self.pending)
        self.pending = None

    @property
    def due(self) -> bool:
        """Whether sums were left for later."""
        return bool(self._memory.due)

    @staticmethod
    def settle(every: Sequence[LaneRunner]) -> None:
        """Brings sums left for later up to date."""
        settle([(one.feed, one.lane.name, one._memory.due) for one in every])

    def _next(self, until: Position | None) -> Gathered | None:
        if self.pending is None and self._source is not None:
            self.pending = self._advance()
        if self.pending is None and self.recent is not None:
            self.pending = self.lane.at_hand(self.recent)
        if self.pending is None:  # one that has ended knows nothing of what came since it began
            self._source = self._gather(until)
            self.pending = self._advance()
        if self.pending is None:
            self._source = None
        return self.pending

    def _gather(self, until: Position | None) -> Iterator[Gathered]:
        if self.in_bulk:
            return prefetch(self.lane.gather(self._folder, until))
        return self.lane.gather(self._folder, until, recent=self.recent)

    def _advance(self) -> Gathered | None:
        try:
            return next(self._source, None) if self._source is not None else None
        except BaseException:
            self._source = None
            self.lane = load_lane(self.feed, self.lane.name)
            raise

    def _watch(self, gathered: Gathered) -> None:
        """Lines heard live say how far their clock is off; those of a file or of arrival do not."""
        description = self.lane.description
        if self.feed.kind not in LIVE_KINDS or gathered.reread or self.lane.name != "live":
            return
        if description is None or description.times_from_arrival:
            return
        if gathered.new_clock is not None:
            self._heard, self._clock_watch = [], ClockWatch()
        parts = gathered.events.parts
        if len(parts) == 1 and isinstance(parts[0], list):  # as almost always
            last = parts[0][-KEEP:]
        else:
            last = gathered.events[-KEEP:]
        last += gathered.late[-KEEP:]
        if last and last[0][9] == last[-1][9] and not gathered.late:
            last = last[-1:]  # of lines that came together the latest counts
        self._heard += [(row[9], row[1]) for row in last]
        if len(self._heard) >= KEEP:
            self.see_clock()

    def see_clock(self) -> None:
        """Looks at what was heard of the source's clock: now, where nothing else waits."""
        self._clock_watch.see(sorted(self._heard)[-KEEP:])
        self._heard = []

    @property
    def watch(self) -> ClockWatch:
        """What is known of how far the source's clock is off."""
        self.see_clock()
        return self._clock_watch

    def drain(self, until: Position | None = None) -> None:
        """Commits all there is."""
        while self.step(until):
            pass
        if self.due:
            self.settle([self])

    def _commit(self, gathered: Gathered) -> None:
        commit([self._news(gathered)])
