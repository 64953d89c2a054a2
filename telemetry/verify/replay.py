"""Decodes a feed's journal again and holds what comes of it against what is stored, key by key."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from hashlib import blake2b
from pathlib import Path
from typing import Any

from django.db import connection

from telemetry.decode.general import Decoder
from telemetry.decode.lines import KEEP_BYTES
from telemetry.decode.row_blocks import AnyRow
from telemetry.description import Description
from telemetry.journal import Position
from telemetry.lanes.gathered import Clock, Gathered, clock_at
from telemetry.lanes.lane import Lane
from telemetry.models import ClockOffset, Cursor, Feed, Reject
from telemetry.paths import journal_folder
from telemetry.verify.sorting import Row, Sorter, row
from telemetry.worker.lane_runner import versions_of

_PAGE = 20_000
Mark = Callable[[tuple[Any, ...]], int]


def lasting(values: tuple[Any, ...]) -> int:
    """Like `hash`, which is quicker, but the same in every process: for what is kept."""
    return int.from_bytes(blake2b(repr(values).encode(), digest_size=8).digest())


class Replayed:
    """What the journal of one feed says is stored, up to its cursors."""

    def __init__(self, feed: Feed, folder: Path, mark: Mark = hash) -> None:
        self.feed = feed
        self._mark = mark
        self.events, self.rejects, self.repeats = Sorter(folder), Sorter(folder), Sorter(folder)
        self.lines: dict[str, int] = {}
        self._versions = versions_of(feed)
        self._offsets = {0: 0} | dict(
            ClockOffset.objects.filter(feed=feed).values_list("version", "offset_us")
        )

    def take_lane(self, cursor: Cursor, start: Position, state: dict[str, Any]) -> None:
        """Raises what decoding a journal with a hole in it may raise."""
        newest = self._versions.description(self.feed.version)
        later = newest if newest.is_level else None
        lane = Lane(
            cursor.lane, self._versions, position=start, state=state, later=later, unreadable={}
        )
        until = Position(cursor.segment, cursor.byte_offset, cursor.sequence)
        self.lines.setdefault(cursor.lane, 0)
        for gathered in lane.gather(journal_folder(self.feed.name, cursor.lane), until):
            self._take(cursor.lane, gathered)

    def _take(self, lane: str, gathered: Gathered) -> None:
        self.lines[lane] += gathered.lines
        self.events.extend(map(self._event_row, gathered.events))
        self.events.extend(map(self._event_row, gathered.late))
        for key, reject in gathered.rejects:
            came_us = reject.arrival_us or 0
            mark = self._mark((reject.reason, reject.raw))
            self.rejects.add(row(bytes.fromhex(key), mark, came_us, came_us))
        for key, (_, in_all) in gathered.repeats.items():
            self.repeats.add(row(bytes.fromhex(key), 0, in_all))

    def take_mended(self) -> None:
        """Lines refused at first that a later description could read: they are events too."""
        rows = Reject.objects.filter(feed=self.feed).exclude(mended_version=None)
        for reject in rows.order_by("mended_version").iterator(_PAGE):
            description = self._versions.description(reject.mended_version or 1)
            self.events.extend(_mended(description, reject, self._mark))

    def _event_row(self, each: AnyRow) -> Row:
        """Time as the line said it: a corrected clock moves what is stored."""
        raw_us = each[1] - self._offsets.get(each[11], 0)
        mark = self._mark((raw_us, each[2], each[4], each[5], each[6], each[7], each[8]))
        return row(each[0], mark, raw_us, each[9])

    def close(self) -> None:
        for sorter in (self.events, self.rejects, self.repeats):
            sorter.close()


def _mended(description: Description, reject: Reject, make_mark: Mark) -> Iterator[Row]:
    raw = bytes(reject.raw)
    if len(raw) >= KEEP_BYTES:
        return
    decoder = Decoder(description)
    batch = decoder.feed_block(
        raw + b"\n", position=0, arrival_us=reject.received_us, source=reject.source
    )
    rest = decoder.flush()
    for event in (*batch.events, *batch.late, *rest.events, *rest.late):
        seq = -1 if event.seq is None else event.seq
        mark = make_mark((
            event.time_us, seq, event.torch, event.kind, event.value, event.text,
            event.raw_stamp[:64],
        ))  # fmt: skip
        yield row(bytes.fromhex(event.key), mark, event.time_us, reject.received_us)


class Stored:
    """The same of the tables. `mistimed` counts events that an older clock still times, or one
    that never was."""

    def __init__(self, feed: Feed, cursors: list[Cursor], mark: Mark = hash) -> None:
        self._feed = feed
        self._mark = mark
        versions = [c[0] for cursor in cursors for c in cursor.state.get("clocks", [])]
        rows = ClockOffset.objects.filter(feed=feed, version__gt=0).order_by("version")
        self._clocks = [
            Clock(each.version, each.offset_us, each.from_us, each.heard_from_us)
            for each in rows.filter(version__lte=max(versions, default=0))
        ]
        self._offsets = {0: 0} | {clock.version: clock.offset_us for clock in self._clocks}
        self.mistimed = 0
        self.events_read = 0

    def events(self) -> Iterator[Row]:
        """In order of their keys."""
        after = b""
        while page := self._page(after):
            for key, at_us, seq, torch, kind, number, text, stamp, received_us, version in page:
                raw_us = at_us - self._offsets.get(version, 0)
                if self._clocks or version:
                    wanted = clock_at(self._clocks, raw_us, received_us).version
                    self.mistimed += wanted != version
                mark = self._mark((raw_us, seq, torch, kind, number, text, stamp))
                yield row(bytes(key), mark, raw_us, received_us)
            self.events_read += len(page)
            after = bytes(page[-1][0])

    def _page(self, after: bytes) -> list[Any]:
        with connection.cursor() as cursor:
            cursor.execute(
                "SELECT key, at_us, seq, torch, kind, number, text, stamp, received_us, "
                "clock_version FROM telemetry_event WHERE feed_id = %s AND key > %s "
                f"ORDER BY feed_id, key LIMIT {_PAGE}",
                [self._feed.pk, after],
            )
            return list(cursor.fetchall())

    def rejects(self, folder: Path) -> Sorter:
        found = Sorter(folder)
        rows = Reject.objects.filter(feed=self._feed).order_by()
        for key, reason, raw, received in rows.values_list(
            "key", "reason", "raw", "received_us"
        ).iterator(_PAGE):
            mark = self._mark((reason, bytes(raw)))
            found.add(row(bytes.fromhex(key), mark, received, received))
        return found

    def repeats(self, folder: Path) -> Sorter:
        found = Sorter(folder)
        with connection.cursor() as cursor:
            cursor.execute(
                "SELECT key, times FROM telemetry_repeat WHERE feed_id = %s", [self._feed.pk]
            )
            while page := cursor.fetchmany(_PAGE):
                found.extend(row(bytes.fromhex(key), 0, times) for key, times in page)
        return found
