"""Many feeds' plain news in one transaction: with a hundred sources a commit each is too slow.

Plain news is events behind all others of a feed whose open end this process has at hand, or none,
and nothing beside them. Sums by quarter hour are left for later, which the cursor notes.
"""

from __future__ import annotations

import json
import time
from collections.abc import Sequence
from typing import Any, NamedTuple

from django.db import IntegrityError, connection, transaction

from telemetry.models import Feed
from telemetry.store import fewtrips
from telemetry.store.arcrows import ArcRow, save_arcs, save_strays
from telemetry.store.commit import Keeper
from telemetry.store.fewtrips import Moved
from telemetry.store.gathered import Gathered
from telemetry.store.rollups import Dirty
from telemetry.store.rows import insert_events, insert_events_of
from telemetry.store.tail import Tail


class News(NamedTuple):
    """What one lane of a feed has, and what this process remembers of the feed."""

    feed: Feed
    lane: str
    gathered: Gathered
    keeper: Keeper
    torches: set[str]


_MANY = 5_000  # events of one feed that are better stored in bulk, with their sums


class _NotPlain(Exception):
    """Somebody else wrote, or a row was there already: each feed by itself."""


def open_end(news: News, *, pierces: bool) -> None:
    """Brings the feed's open end to hand, for the torches in the news. Nothing is locked: whoever
    writes meanwhile is noticed by the marks in the transaction."""
    tail = news.keeper.tail
    torches = news.torches
    if tail is None or not tail.knows(torches):
        news.keeper.tail = tail = tail or Tail(news.feed, pierces=pierces)
        tail.load(torches)


def is_plain(news: News) -> bool:
    """Whether these can be stored together with others."""
    g, tail = news.gathered, news.keeper.tail
    if news.lane not in news.keeper.marks or len(g.events) > _MANY:
        return False
    beside = (
        g.late or g.rejects or g.gaps or g.link_gaps or g.repeats or g.damages or g.sources
        or g.new_version or g.new_clock or g.reread
    )  # fmt: skip
    if beside or not g.events:
        return not beside
    return tail is not None and tail.knows(news.torches) and tail.follows(g.events[0][1], g.stream)


def commit_together(every: Sequence[News]) -> bool:
    """Stores all of it, or nothing and False. Raises the database's error, nothing stored."""
    now_us = time.time_ns() // 1000
    try:
        # The raw driver is used below; its errors are to be Django's like all others.
        with connection.wrap_database_errors, transaction.atomic():
            dues = _store(every, now_us)
    except _NotPlain:
        _forget(every)
        return False
    except IntegrityError:
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
    few = connection.vendor == "postgresql"
    _refuse_if_moved(every, fewtrips.begin(ids) if few else _cursors(ids))
    if few:
        fewtrips.copy_events((news.feed.pk, news.gathered.events) for news in every)
    elif _insert(every) != sum(len(news.gathered.events) for news in every):
        raise _NotPlain
    known: list[ArcRow] = []
    new: list[ArcRow] = []
    dues = []
    for news in every:
        due = Dirty()
        due.take_over(news.keeper.due)
        dues.append(due)
        if not news.gathered.events:
            continue
        tail = news.keeper.tail
        if tail is None:
            raise _NotPlain
        made = tail.pair(news.gathered.events, news.gathered.stream)
        known += made.known
        new += made.new
        if made.strays:
            save_strays(news.feed.pk, made.strays)
        for arc in [*made.known, *made.new]:
            due.add(arc)
    moved = [_moved(news, due) for news, due in zip(every, dues, strict=True)]
    if few:
        fewtrips.finish([*known, *new], moved, now_us)
    else:
        save_arcs(known)
        save_arcs(new, all_new=True)
        _advance(moved, now_us)
    return dues


def _insert(every: Sequence[News]) -> int:
    """How many events went in."""
    if len(every) == 1:
        return insert_events(every[0].feed.pk, every[0].gathered.events)
    return insert_events_of(
        [(news.feed.pk, *row) for news in every for row in news.gathered.events]
    )


def _cursors(ids: Sequence[int]) -> list[Any]:
    with connection.cursor() as cursor:
        cursor.execute(
            "SELECT feed_id, lane, sequence, changed_us FROM telemetry_cursor "
            f"WHERE feed_id IN ({', '.join(map(str, ids))})"
        )
        return list(cursor.fetchall())


def _refuse_if_moved(every: Sequence[News], cursors: Sequence[Any]) -> None:
    marks: dict[int, dict[str, tuple[int, int]]] = {}
    for feed_id, lane, sequence, changed_us in cursors:
        marks.setdefault(feed_id, {})[lane] = (sequence, changed_us)
    for news in every:
        mine = marks.get(news.feed.pk, {})
        if mine != news.keeper.marks or mine[news.lane][0] != news.gathered.start.sequence:
            raise _NotPlain


def _moved(news: News, due: Dirty) -> Moved:
    g = news.gathered
    state = json.dumps({**g.state, "due": due.as_lists()})
    return Moved(
        news.feed.pk, news.lane, g.end.sequence, g.end.segment, g.end.offset, state, g.lines,
        len(g.events), g.last_line_us,
    )  # fmt: skip


def _advance(every: Sequence[Moved], now_us: int) -> None:
    values = [
        (
            m.sequence, m.segment, m.offset, m.state, m.lines, m.events, m.last_line_us,
            m.last_line_us, m.last_line_us, now_us, m.feed_id, m.lane,
        )
        for m in every
    ]  # fmt: skip
    with connection.cursor() as cursor:
        cursor.cursor.executemany(
            "UPDATE telemetry_cursor SET sequence = ?, segment = ?, byte_offset = ?, "
            "state = ?, lines = lines + ?, events = events + ?, last_line_us = CASE "
            "WHEN last_line_us IS NULL OR last_line_us < ? THEN COALESCE(?, last_line_us) "
            "ELSE COALESCE(last_line_us, ?) END, changed_us = ? "
            "WHERE feed_id = ? AND lane = ?",
            values,
        )
