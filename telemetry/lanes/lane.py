"""Decodes one lane of a feed's journal, record by record, into what the store takes.

A lane is `live` (what the worker read) or `backfill` (files read in by hand). Its state is the
decoder's and a little beside it; the same records from the same state give the same rows.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterator, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

from telemetry.decode.few_lines import FewLinesDecoder
from telemetry.decode.general import Fragment
from telemetry.decode.row_blocks import AnyRow, RowBlock
from telemetry.description import Description, parse_description
from telemetry.description.versions import Versions
from telemetry.events import Batch, Event, Reject
from telemetry.journal import Damage, Kind, Position, Recent, Record, read
from telemetry.journal.judge import came_us
from telemetry.lanes.gathered import Clock, Gathered, clock_at, row_of
from telemetry.lanes.recent_counts import RecentCounts
from telemetry.lanes.state import LaneState

LANES = ("live", "backfill")
_TURNS = (Kind.VERSION, Kind.CLOCK, Kind.OPENED)
_NO_CLOCK = Clock()
_LATE_TIE = 1_000_000  # a late line stands behind those of its instant that came in order


class Lane(LaneState):
    """One lane in memory: decoder, position, and what was gathered since the last commit."""

    def __init__(
        self,
        name: str,
        versions: Versions,
        *,
        position: Position,
        state: dict[str, Any],
        later: Description | None = None,
        unreadable: dict[int, OSError] | None = None,
    ) -> None:
        super().__init__(name, versions, position=position, state=state)
        self._later = later  # lends its words to descriptions before it
        self._unreadable = unreadable  # None: a segment the system cannot read is an error
        self._now = self._fresh()

    def gather(
        self,
        folder: Path,
        until: Position | None = None,
        cuts: Sequence[int] = (),
        recent: Recent | None = None,
    ) -> Iterator[Gathered]:
        """What the journal holds from here on, cut into transactions of a bounded size, and at
        the instants `cuts` (in order) so that lanes can be taken in the order they came in.
        `recent` has records of its end that need not be read back."""
        ahead = list(reversed(cuts))
        for item, position in self._items(folder, until, recent):
            turn = isinstance(item, Record) and item.kind in _TURNS
            if isinstance(item, Record):
                if turn:
                    self._let_go_before(item)
                while ahead and item.utc_us >= ahead[-1]:
                    ahead.pop()
                    if self._now.any:
                        yield self._take()
                if turn and not self._now.bare:
                    yield self._take()
                self._now.began_us = self._now.began_us or item.utc_us
            self.position = self._now.end = position
            self._apply(item)
            if turn and self._now.bare:
                # A commit for nothing but where the journal is would cost as much as one with rows.
                self._now = replace(self._now, **self._standing())
            elif turn or self._now.full:
                yield self._take()
        if self._now.any:
            yield self._take()

    def at_hand(self, recent: Recent) -> Gathered | None:
        """What plain records give that are at hand: the short way of `gather`, for a hundred
        sources in step with what they say. None where `gather` must be asked."""
        while (found := recent.take_plain(self.position.sequence)) is not None:
            record, self.position = found
            now = self._now
            now.end = self.position
            now.began_us = now.began_us or record.utc_us
            self._apply(record)
            if now.full:
                break
        return self._take() if self._now.any else None

    def _items(
        self, folder: Path, until: Position | None, recent: Recent | None
    ) -> Iterator[tuple[Record | Damage, Position]]:
        if recent is not None:
            while (found := recent.take(self.position.sequence)) is not None:
                yield found
        if until is None or self.position.sequence < until.sequence:
            yield from read(folder, self.position, until, unreadable=self._unreadable)

    def _fresh(self) -> Gathered:
        return Gathered(start=self.position, end=self.position, **self._standing())

    def _standing(self) -> dict[str, Any]:
        """What is in force for the lines to come."""
        return {
            "stream": f"{self.name}/{self._stream}",
            "reread": self._reread,
            "feed_version": self._version,
            "pierces": self._knows_pierces,
            "several": self._tells_more,
            "clock": self._clocks[-1] if self._clocks else _NO_CLOCK,
        }

    def _take(self) -> Gathered:
        done, self._now = self._now, self._fresh()
        done.state = self.state()
        return done

    def _let_go_before(self, record: Record) -> None:
        """What waits belongs to the stream and version before a turn."""
        if record.kind is Kind.VERSION:
            self._flush("keep")
        elif record.kind is Kind.OPENED and record.meta.get("broken"):
            self._flush("reject")
        elif record.kind is Kind.OPENED and record.meta.get("fresh"):
            # A file read in by hand has its last line taken at its END. What is left without one
            # was cut off by the end of the process, and is read again whole.
            self._flush("keep" if self.name == "backfill" else "take")

    def _apply(self, item: Record | Damage) -> None:
        if isinstance(item, Damage):
            self._flush("reject")
            self._now.damages.append(item)
            self._lost = True
            return
        if "path" in item.meta:
            self._place(item)
        if item.kind is Kind.DATA:
            self._data(item)
        elif item.kind is Kind.FLUSH:
            self._flush("keep")
        elif item.kind is Kind.END:
            self._flush("take")
        elif item.kind is Kind.OPENED:
            self._opened(item)
        elif item.kind is Kind.VERSION:
            self._new_version(item)
        elif item.kind is Kind.CLOCK:
            meta = item.meta
            clock = Clock(
                meta["version"], meta["offset_us"], meta["from_us"], meta.get("heard_from_us")
            )
            self._clocks.append(clock)
            self._now.new_clock = clock

    def _data(self, record: Record) -> None:
        at, first = record.meta.get("at", 0), 0
        if self._lost or self._decoder is None:
            first = self._find_footing(record)
        self._feed(record.body[first:], at + first, record)
        self.bytes_end = at + len(record.body)

    def _find_footing(self, record: Record) -> int:
        """Behind records that cannot be read. A change of description may have been among them,
        and the first bytes may be the rest of a line: they are kept aside as half a line. Only
        the blocks of a file that is read live begin with a line. Returns how many were taken."""
        version = max(self._version, self._versions.in_force(came_us(record)))
        if version != self._version:
            self._use(version, self._versions.description(version))
        self._lost = False
        first = record.body.find(b"\n")
        at = record.meta.get("at", 0)
        if at == 0 or (self.name == "live" and "generation" in record.meta):
            return 0
        first = len(record.body) if first < 0 else first
        self._feed(record.body[:first], at, record)
        self._flush("reject")
        return first

    def _feed(self, body: bytes, at: int, record: Record) -> None:
        if self._decoder is None:
            raise RuntimeError(f"journal record {record.sequence} comes before any description")
        came = came_us(record)
        source = record.meta.get("source", "")
        batch = self._decoder.feed_block(body, position=at, arrival_us=came, source=source)
        self._source = source
        if batch.lines:
            self._now.last_line_us = max(came, self._now.last_line_us or 0)
        self._add(batch)

    def _place(self, record: Record) -> None:
        """How far a source with places of its own has been read."""
        meta = record.meta
        key = (meta["path"], meta.get("generation", 1))
        end = meta.get("at", 0) + len(record.body)
        self._now.sources[key] = {**meta["file"], "byte_offset": end}

    def _flush(self, fragment: Fragment) -> None:
        if self._decoder is not None:
            self._add(self._decoder.flush(fragment=fragment))

    def _opened(self, record: Record) -> None:
        """`fresh`: read again from its start, by a decoder that knows nothing. `broken`: the
        link was down; a half line of before can never be finished."""
        if message := record.meta.get("message"):
            self._now.link_gaps.append((came_us(record), message))
            if record.meta.get("lost"):
                self._now.alarms.append(message)
        if record.meta.get("fresh"):
            self._restart(reread=True)

    def _new_version(self, record: Record) -> None:
        half = self._decoder.fragment if self._decoder is not None else b""
        half_at = self.bytes_end - len(half)
        source = self._source
        version = record.meta["version"]
        name = f"{self._versions.feed_name} version {version}"
        text = record.body.decode()
        self._use(version, parse_description(text, name=name))
        self._now.new_text = version, text
        self._now.new_version = version if version > 1 else None
        if half and self._decoder is not None:
            self._add(
                self._decoder.feed_block(
                    half, position=half_at, arrival_us=record.utc_us, source=source
                )
            )

    def _use(self, version: int, description: Description) -> None:
        if self._later is not None and description.is_level:
            description = description.knowing(self._later)
        self._version, self.description = version, description
        self._now.feed_version, self._now.pierces = version, self._knows_pierces
        self._now.several = self._tells_more
        self._restart(reread=self._reread)

    def _restart(self, *, reread: bool) -> None:
        if self.description is not None:
            self._decoder = FewLinesDecoder(self.description)
        self._stream += 1
        self._reread = reread
        self._tie, self._rejects, self._repeats = [-1, 0], RecentCounts({}), RecentCounts({})
        self._ties = {}

    def _add(self, batch: Batch) -> None:
        now = self._now
        now.lines += batch.lines - (batch.repeats if self._reread else 0)
        for run in batch.runs:
            now.events.extend(self._row(event, self._tie_of(event)) for event in run.events)
            if run.lines is not None:
                stretch = RowBlock(run.lines, run.arrival_us or 0, now.feed_version)
                if self._clocks:
                    now.events.extend(map(self._clocked, stretch.rows()))
                else:
                    now.events.add(stretch)
        for event in batch.late:
            now.late.append(self._row(event, _LATE_TIE if event.seq is None else 0))
        now.gaps.extend(batch.gaps)
        for reject in batch.rejects:
            now.rejects.append((self._reject_key(reject), reject))
        for again in batch.duplicates:
            total = self._repeats.before(again.key) + 1
            now.repeats[again.key] = (now.repeats.get(again.key, (0, 0))[0] + 1, total)

    def _row(self, event: Event, tie: int) -> AnyRow:
        row = row_of(event, tie, self._now.feed_version, 0)
        return self._clocked(row) if self._clocks else row

    def _clocked(self, row: AnyRow) -> AnyRow:
        clock = clock_at(self._clocks, row[1], row[9])
        return (row[0], row[1] + clock.offset_us, *row[2:11], clock.version)

    def _tie_of(self, event: Event) -> int:
        if self._now.several:  # a line gives several, and torches debounced apart come by turns
            at, tie = self._ties.get(event.torch, [-1, 0])
            self._ties[event.torch] = [event.time_us, tie + 1 if at == event.time_us else 0]
            return self._ties[event.torch][1]
        if event.seq is not None:
            return 0
        at, tie = self._tie
        self._tie = [event.time_us, tie + 1 if at == event.time_us else 0]
        return self._tie[1]

    def _reject_key(self, reject: Reject) -> str:
        text = hashlib.blake2b(reject.raw, digest_size=16).hexdigest()
        times = self._rejects.before(text)
        return hashlib.blake2b(f"{text}|{times}".encode(), digest_size=16).hexdigest()
