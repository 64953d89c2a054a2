"""One transaction: events, rejects, gaps, arcs, rollups and the cursor, or none of them."""

from __future__ import annotations

import time
from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import replace
from functools import partial

from django.db import connection, transaction

from telemetry.decode.row_blocks import AnyRow
from telemetry.decode.row_list import Rows
from telemetry.events import ARC_OFF
from telemetry.lanes.gathered import Gathered, row_of
from telemetry.models import Cursor, Feed
from telemetry.store import asides
from telemetry.store.clock import retime_all
from telemetry.store.from_journal import take_up_clock, take_up_text
from telemetry.store.mend import reread_rejects
from telemetry.store.repair import repair
from telemetry.store.rollups import DueBuckets
from telemetry.store.rows import first_stored, insert_new, raise_ties, stored_ties
from telemetry.store.tail import OpenArcs


class CursorMoved(Exception):
    """Somebody else decoded this lane further (a rebuild): load it again."""


class _NotAllNew(Exception):
    """Some of the events were stored already; the quick way is off."""


class FeedMemory:
    """What one process remembers of a feed between transactions: its open end, and whether
    another process has written since."""

    def __init__(self) -> None:
        self.tail: OpenArcs | None = None
        self.marks: dict[str, tuple[int, int]] = {}
        self.due = DueBuckets()  # buckets left for later, as the lane's cursor says too

    def forget(self) -> None:
        self.tail = None


def commit(
    feed: Feed,
    lane: str,
    gathered: Gathered,
    keeper: FeedMemory,
    *,
    pierces: bool,
    pair: bool = True,
) -> None:
    """Stores one `Gathered`. Raises CursorMoved, or the database's error with nothing stored.

    `pair` False leaves arcs for later: a rebuild pairs everything once, at its end.
    """
    try:
        # COPY goes over the raw driver; its errors are to be Django's like all others.
        with connection.wrap_database_errors, transaction.atomic():
            _store(feed, lane, gathered, keeper, pierces, pair)
    except BaseException:
        keeper.forget()
        raise


def _store(
    feed: Feed, lane: str, gathered: Gathered, keeper: FeedMemory, pierces: bool, pair: bool
) -> None:
    # What is worked out here must not show if the transaction fails and is tried again.
    gathered = replace(gathered, late=list(gathered.late), repeats=dict(gathered.repeats))
    cursor = _lock(feed, lane, gathered, keeper)
    dirty = DueBuckets()
    dirty.take_over(keeper.due)
    if gathered.new_text is not None:
        take_up_text(feed, *gathered.new_text)
    if gathered.new_clock is not None:
        take_up_clock(feed, gathered.new_clock)
    if gathered.new_version is not None:
        mended = reread_rejects(feed, gathered.new_version)
        gathered.late.extend(row_of(event, 0, gathered.feed_version, 0) for event in mended)
        keeper.forget()  # what it remembers rests on what the description before could tell
    known, changed = _events(feed, gathered, keeper, dirty, pierces, pair)
    turned = gathered.new_clock is not None or gathered.new_version is not None
    if turned and feed.clock_version and retime_all(feed, gathered.new_clock):
        changed = _everything(feed)
    if changed and pair:
        keeper.forget()
        for torch, (first_us, last_us) in changed.items():
            repair(feed, torch, first_us, last_us, pierces=pierces, dirty=dirty)
    known += asides.save_rejects(feed, gathered)
    known += asides.save_repeats(feed, gathered)
    asides.save_gaps(feed, gathered, [span for span in changed.values() if span[0] is not None])
    asides.save_sources(feed, gathered)
    dirty.recompute(feed)
    _advance(cursor, gathered, known)
    keeper.marks[lane] = (cursor.sequence, cursor.changed_us)
    keeper.due = DueBuckets()


def lock_feeds(feed_ids: Sequence[int]) -> None:
    """One writer a feed at a time. SQLite has only one in all."""
    if connection.vendor == "postgresql":
        marks = ", ".join(["%s"] * len(feed_ids))
        with connection.cursor() as raw:
            raw.execute(
                f"SELECT id FROM telemetry_feed WHERE id IN ({marks}) ORDER BY id FOR UPDATE",
                feed_ids,
            )


def _lock(feed: Feed, lane: str, gathered: Gathered, keeper: FeedMemory) -> Cursor:
    """One writer a feed at a time; notices what others wrote since this process last did."""
    lock_feeds([feed.pk])
    rows = {row.lane: row for row in Cursor.objects.filter(feed=feed).defer("state")}
    marks = _marks(rows.values())
    if marks != keeper.marks:
        keeper.forget()
        keeper.marks = marks
    cursor = rows.get(lane) or Cursor(feed=feed, lane=lane)
    if cursor.sequence != gathered.start.sequence:
        raise CursorMoved(f"{feed.name}/{lane}: {cursor.sequence}, not {gathered.start.sequence}")
    return cursor


def marks_of(feed: Feed) -> dict[str, tuple[int, int]]:
    """Where each lane of a feed stands and when that was saved: who has written shows in it."""
    return _marks(Cursor.objects.filter(feed=feed).defer("state"))


def _marks(rows: Iterable[Cursor]) -> dict[str, tuple[int, int]]:
    return {row.lane: (row.sequence, row.changed_us) for row in rows}


Spans = dict[str, tuple[int | None, int | None]]


def _events(
    feed: Feed, gathered: Gathered, keeper: FeedMemory, dirty: DueBuckets, pierces: bool, pair: bool
) -> tuple[int, Spans]:
    """Stores the events; returns how many were known, and the spans to pair again by torch."""
    events = gathered.events
    if not events and not gathered.late:
        return 0, {}
    tail = None
    if pair and events:
        keeper.tail = tail = keeper.tail or OpenArcs(feed, pierces=pierces)
    if not gathered.late and (tail is None or tail.follows(events[0][1], gathered.stream)):
        if _quickly(feed, gathered, events, tail, dirty):
            gathered.stored = len(events)
            return 0, {}
        keeper.forget()
        tail = None
    return _carefully(feed, gathered, tail, dirty, pair)


def _quickly(
    feed: Feed, gathered: Gathered, rows: Rows, tail: OpenArcs | None, dirty: DueBuckets
) -> bool:
    """Stores rows behind all others; False, with nothing stored, where one was there already."""
    pair = (lambda: None) if tail is None else partial(tail.feed, rows)
    try:
        with transaction.atomic():
            if tail is not None:
                tail.load(rows.torches(), gathered.feed_version)
            if not insert_new(feed.pk, rows, meanwhile=pair):
                raise _NotAllNew
    except _NotAllNew:
        return False
    if tail is not None:
        tail.made(gathered.stream).save(feed.pk, dirty)
    return True


def _surely_quickly(
    feed: Feed, gathered: Gathered, rows: Rows, tail: OpenArcs | None, dirty: DueBuckets
) -> None:
    if not _quickly(feed, gathered, rows, tail, dirty):
        raise RuntimeError(f"{feed.name}: events appeared beside the only writer")


def _carefully(
    feed: Feed, gathered: Gathered, tail: OpenArcs | None, dirty: DueBuckets, pair: bool
) -> tuple[int, Spans]:
    """Looks up what is there, stores the rest and says which spans it touched."""
    known = 0 if gathered.late else first_stored(feed.pk, gathered.events)
    if known == len(gathered.events) > 0:
        return _lines_of(gathered, gathered.events), {}
    rest = gathered.events.since(known)
    if known and (not pair or (tail is not None and tail.follows(rest[0][1], ""))):
        _surely_quickly(feed, gathered, rest, tail, dirty)
        gathered.stored = len(rest)
        return _lines_of(gathered, gathered.events[:known]), {}
    both = [*gathered.events, *gathered.late]
    first = {row[0]: row for row in reversed(both)}
    stored = stored_ties(feed.pk, list(first))
    higher = {key: first[key][3] for key, (tie, _) in stored.items() if first[key][3] > tie}
    torches = {key: first[key][4] for key in higher}
    new = [row for row in both if row[0] not in stored and first.pop(row[0], None) is row]
    raise_ties(feed.pk, higher)
    again = len(both) - len(stored) - len(new)  # within this stretch: the same line, long after
    late_again = [row[0].hex() for row in gathered.late if row[0] in stored]
    if not gathered.reread:
        for key in late_again:
            now, in_all = gathered.repeats.get(key, (0, 0))
            gathered.repeats[key] = (now + 1, in_all + 1)
    gathered.stored = len(new)
    known = len(stored) + (again if gathered.reread else -len(set(late_again)))
    if gathered.several:
        known = _lines_of(gathered, both) - _lines_of(gathered, new)
    behind = tail is not None and not gathered.late and not higher
    if new and behind and tail is not None and tail.follows(new[0][1], ""):
        _surely_quickly(feed, gathered, Rows([new]), tail, dirty)
        return known, {}
    if not insert_new(feed.pk, Rows([new])):
        raise RuntimeError(f"{feed.name}: events appeared beside the only writer")
    touched = [(row[4], row[1]) for row in new]
    touched += [(torches[key], stored[key][1]) for key in higher]
    return known, _spans(feed, touched) if pair else {}


def _lines_of(gathered: Gathered, rows: Sequence[AnyRow]) -> int:
    """How many lines gave these rows: what a poll says beside its edge is no line of its own."""
    if not gathered.several:
        return len(rows)
    return sum(row[5] <= ARC_OFF for row in rows)


def _spans(feed: Feed, touched: list[tuple[str, int]]) -> Spans:
    if any(not torch for torch, _ in touched):  # a program for the whole table
        torches = _everything(feed)
        touched = [(t, at) for torch, at in touched for t in ([torch] if torch else torches)]
    spans: dict[str, list[int]] = defaultdict(list)
    for torch, at_us in touched:
        spans[torch].append(at_us)
    return {torch: (min(instants), max(instants)) for torch, instants in spans.items()}


def _everything(feed: Feed) -> Spans:
    return dict.fromkeys(torches_of(feed), (None, None))


def torches_of(feed: Feed) -> set[str]:
    """Torches that events or arcs of a feed name."""
    with connection.cursor() as cursor:
        cursor.execute(
            "SELECT DISTINCT torch FROM telemetry_event WHERE feed_id = %s AND torch <> ''",
            [feed.pk],
        )
        named = {row[0] for row in cursor.fetchall()}
    return named | set(feed.arcs.order_by().values_list("torch", flat=True).distinct())


def _advance(cursor: Cursor, gathered: Gathered, known: int) -> None:
    end = gathered.end
    cursor.sequence, cursor.segment, cursor.byte_offset = end.sequence, end.segment, end.offset
    cursor.state = gathered.state
    cursor.lines += gathered.lines - known
    cursor.known += known
    cursor.events += gathered.stored
    if gathered.last_line_us is not None:
        cursor.last_line_us = max(cursor.last_line_us or 0, gathered.last_line_us)
    cursor.changed_us = time.time_ns() // 1000
    cursor.save()
