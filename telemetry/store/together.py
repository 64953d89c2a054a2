"""Many feeds' plain news in one transaction: with a hundred sources a commit each is too slow.

Plain news is events behind all others of a feed whose open end this process has at hand, or none,
and nothing beside them. Sums by quarter hour are left for later, which the cursor notes.
"""

from __future__ import annotations

import json
import time
from collections.abc import Sequence
from typing import NamedTuple

from django.db import IntegrityError, connection, transaction

from telemetry.decode.row_blocks import AnyRow
from telemetry.lanes.gathered import Gathered
from telemetry.models import Feed
from telemetry.store import fewtrips, inprocess
from telemetry.store.arcrows import ArcRow
from telemetry.store.commit import FeedMemory
from telemetry.store.moved import CursorUpdate, OpenArcMissing, Stray
from telemetry.store.rollups import DueBuckets
from telemetry.store.tail import OpenArcs


class News(NamedTuple):
    """What one lane of a feed has, and what this process remembers of the feed."""

    feed: Feed
    feed_id: int
    lane: str
    gathered: Gathered
    rows: Sequence[AnyRow]  # its events
    keeper: FeedMemory
    torches: set[str]


MANY = 5_000  # events of one feed that are better stored in bulk, with their sums


class _NotPlain(Exception):
    """Somebody else wrote, or a row was there already: each feed by itself."""


def open_end(news: News, *, pierces: bool) -> None:
    """Brings the feed's open end to hand, for the torches in the news. Nothing is locked: whoever
    writes meanwhile is noticed by the marks in the transaction."""
    tail = news.keeper.tail
    torches = news.torches
    version = news.gathered.feed_version
    if tail is None or not tail.knows(torches, version):
        news.keeper.tail = tail = tail or OpenArcs(news.feed, pierces=pierces)
        tail.load(torches, version)


def is_plain(news: News) -> bool:
    """Whether these can be stored together with others."""
    g, rows, tail = news.gathered, news.rows, news.keeper.tail
    if news.lane not in news.keeper.marks or len(g.events) > MANY:
        return False
    beside = (
        g.late or g.rejects or g.gaps or g.link_gaps or g.repeats or g.damages or g.sources
        or g.new_text or g.new_clock or g.reread
    )  # fmt: skip
    if beside or not rows:
        return not beside
    return (
        tail is not None
        and tail.knows(news.torches, g.feed_version)
        and tail.follows(rows[0][1], g.stream)
    )


def commit_together(every: Sequence[News]) -> bool:
    """Stores all of it, or nothing and False. Raises the database's error, nothing stored."""
    now_us = time.time_ns() // 1000
    try:
        # The raw driver is used below; its errors are to be Django's like all others.
        with connection.wrap_database_errors, transaction.atomic():
            dues = _store(every, now_us)
    except (_NotPlain, OpenArcMissing, IntegrityError):
        _forget(every)
        return False
    except BaseException:
        _forget(every)
        raise
    for news, due in zip(every, dues, strict=True):
        news.keeper.due = due
        news.keeper.marks[news.lane] = (news.gathered.end.sequence, now_us)
    return True


def _forget(every: Sequence[News]) -> None:
    for news in every:
        news.keeper.forget()


def _store(every: Sequence[News], now_us: int) -> list[DueBuckets]:
    into = fewtrips if connection.vendor == "postgresql" else inprocess
    _refuse_if_moved(every, into.begin(sorted(news.feed_id for news in every)))
    into.add_events((news.feed_id, news.rows) for news in every)
    known: list[ArcRow] = []
    new: list[ArcRow] = []
    strays: list[Stray] = []
    dues = []
    for news in every:
        due = DueBuckets()
        due.take_over(news.keeper.due)
        dues.append(due)
        if not news.rows:
            continue
        tail = news.keeper.tail
        if tail is None:
            raise _NotPlain
        made = tail.pair(news.gathered.events, news.gathered.stream)
        known += made.known
        new += made.new
        strays += [(news.feed_id, *stray) for stray in made.strays]
        for arc in [*made.known, *made.new]:
            due.add(arc)
    moved = [_moved(news, due) for news, due in zip(every, dues, strict=True)]
    if strays:
        into.add_strays(strays)
    into.finish(known, new, moved, now_us)
    return dues


def _refuse_if_moved(every: Sequence[News], cursors: Sequence[tuple[int, str, int, int]]) -> None:
    marks: dict[int, dict[str, tuple[int, int]]] = {}
    for feed_id, lane, sequence, changed_us in cursors:
        marks.setdefault(feed_id, {})[lane] = (sequence, changed_us)
    for news in every:
        mine = marks.get(news.feed_id, {})
        if mine != news.keeper.marks or mine[news.lane][0] != news.gathered.start.sequence:
            raise _NotPlain


def _moved(news: News, due: DueBuckets) -> CursorUpdate:
    g = news.gathered
    state = json.dumps({**g.state, "due": due.as_lists()})
    return CursorUpdate(
        news.feed_id, news.lane, g.end.sequence, g.end.segment, g.end.offset,
        state, g.lines, len(news.rows), g.last_line_us,
    )  # fmt: skip
