"""Many feeds' plain news in one transaction: with a hundred sources a commit each is too slow.

Plain news is events behind all others of a feed whose open end this process has at hand, and
nothing beside them. Sums by quarter hour are left for later, which the cursor notes.
"""

from __future__ import annotations

import json
import time
from collections.abc import Sequence
from typing import NamedTuple

from django.db import connection, transaction

from telemetry.models import Feed
from telemetry.store.arcrows import ArcRow, save_arcs, save_strays
from telemetry.store.commit import Keeper, lock_feeds
from telemetry.store.gathered import Gathered
from telemetry.store.rollups import Dirty
from telemetry.store.rows import insert_events_of
from telemetry.store.tail import Tail


class News(NamedTuple):
    """What one lane of a feed has, and what this process remembers of the feed."""

    feed: Feed
    lane: str
    gathered: Gathered
    keeper: Keeper


class _NotPlain(Exception):
    """Somebody else wrote, or a row was there already: each feed by itself."""


def open_end(news: News, *, pierces: bool) -> None:
    """Brings the feed's open end to hand, for the torches in the news. Nothing is locked: whoever
    writes meanwhile is noticed by the marks in the transaction."""
    tail = news.keeper.tail
    torches = {row[4] for row in news.gathered.events}
    if tail is None or not tail.knows(torches):
        news.keeper.tail = tail = tail or Tail(news.feed, pierces=pierces)
        tail.load(torches)


def is_plain(news: News) -> bool:
    """Whether these can be stored together with others."""
    g, tail = news.gathered, news.keeper.tail
    if tail is None or news.lane not in news.keeper.marks or not g.events:
        return False
    beside = (
        g.late, g.rejects, g.gaps, g.link_gaps, g.repeats, g.damages, g.sources, g.new_version,
        g.new_clock, g.reread,
    )  # fmt: skip
    return (
        not any(beside)
        and tail.knows({row[4] for row in g.events})
        and tail.follows(g.events[0][1], g.stream)
    )


def commit_together(every: Sequence[News]) -> bool:
    """Stores all of it, or nothing and False. Raises the database's error, nothing stored."""
    now_us = time.time_ns() // 1000
    try:
        with transaction.atomic():
            dues = _store(every, now_us)
    except _NotPlain:
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


def _store(every: Sequence[News], now_us: int) -> list[Dirty]:
    ids = sorted(news.feed.pk for news in every)
    lock_feeds(ids)
    _refuse_if_moved(every, ids)
    rows = [(news.feed.pk, *row) for news in every for row in news.gathered.events]
    if insert_events_of(rows) != len(rows):
        raise _NotPlain
    known: list[ArcRow] = []
    new: list[ArcRow] = []
    dues = []
    for news in every:
        tail = news.keeper.tail
        if tail is None:
            raise _NotPlain
        made = tail.pair(news.gathered.events, news.gathered.stream)
        known += made.known
        new += made.new
        if made.strays:
            save_strays(news.feed.pk, made.strays)
        due = Dirty.listed(news.keeper.due.as_lists())
        for arc in [*made.known, *made.new]:
            due.add(arc)
        dues.append(due)
    save_arcs(known)
    save_arcs(new, all_new=True)
    _advance(every, dues, now_us)
    return dues


def _refuse_if_moved(every: Sequence[News], ids: Sequence[int]) -> None:
    marks: dict[int, dict[str, tuple[int, int]]] = {}
    with connection.cursor() as cursor:
        cursor.execute(
            "SELECT feed_id, lane, sequence, changed_us FROM telemetry_cursor "
            f"WHERE feed_id IN ({', '.join(['%s'] * len(ids))})",
            ids,
        )
        for feed_id, lane, sequence, changed_us in cursor.fetchall():
            marks.setdefault(feed_id, {})[lane] = (sequence, changed_us)
    for news in every:
        mine = marks.get(news.feed.pk, {})
        if mine != news.keeper.marks or mine[news.lane][0] != news.gathered.start.sequence:
            raise _NotPlain


def _advance(every: Sequence[News], dues: Sequence[Dirty], now_us: int) -> None:
    values = []
    for news, due in zip(every, dues, strict=True):
        g = news.gathered
        state = json.dumps({**g.state, "due": due.as_lists()})
        values.append(
            (
                g.end.sequence, g.end.segment, g.end.offset, state, g.lines, len(g.events),
                g.last_line_us, g.last_line_us, g.last_line_us, now_us, news.feed.pk, news.lane,
            )
        )  # fmt: skip
    with connection.cursor() as cursor:
        cursor.executemany(
            "UPDATE telemetry_cursor SET sequence = %s, segment = %s, byte_offset = %s, "
            "state = %s, lines = lines + %s, events = events + %s, last_line_us = CASE "
            "WHEN last_line_us IS NULL OR last_line_us < %s THEN COALESCE(%s, last_line_us) "
            "ELSE COALESCE(last_line_us, %s) END, changed_us = %s "
            "WHERE feed_id = %s AND lane = %s",
            values,
        )
