"""The only way of intake into the tables: events, what stands beside them, arcs, sums and cursors
of one feed or of many in one transaction, or nothing of it.

With a hundred sources a transaction each is too slow, so what is plain goes together: then sums are
left for later, which the cursors note. What is not plain is stored for each feed by itself.
"""

from __future__ import annotations

import json
import time
from collections.abc import Sequence

from django.db import connection, transaction

from telemetry.models import Cursor, Feed
from telemetry.store.append import Part, append
from telemetry.store.news import News
from telemetry.store.rollups import DueBuckets, recompute
from telemetry.store.rows import AlreadyStored, CursorUpdate
from telemetry.store.sql import sql
from telemetry.store.uneven import Counts, store_uneven

Marks = dict[str, tuple[int, int]]
_as_json = json.JSONEncoder(separators=(",", ":"), check_circular=False).encode


class CursorMoved(Exception):
    """Somebody else decoded this lane further (a rebuild): load it again."""


class EachAlone(Exception):
    """Plain news that cannot be stored as such: somebody else wrote, or a row was there."""


def commit(every: Sequence[News], *, pair: bool = True) -> None:
    """Stores plain news of any number of feeds, or other news of one. Raises EachAlone (of plain
    news), CursorMoved (of other) or the database's error, with nothing stored.

    `pair` False leaves arcs for later: a rebuild pairs everything once, at its end.
    """
    now_us = time.time_ns() // 1000
    try:
        # The drivers are used beneath Django; their errors are to be Django's like all others.
        with connection.wrap_database_errors, transaction.atomic():
            dues = _store(every, now_us, pair=pair)
    except BaseException:
        for news in every:
            news.memory.forget()
        raise
    for news, due in zip(every, dues, strict=True):
        news.memory.due = due
        news.memory.marks[news.lane] = (news.gathered.end.sequence, now_us)


def _store(every: Sequence[News], now_us: int, *, pair: bool) -> list[DueBuckets]:
    """Returns the quarter hours whose sums are left for later."""
    marks = _marks(sql().begin(sorted({news.feed.pk for news in every})))
    dues = [DueBuckets() for _ in every]
    for news, due in zip(every, dues, strict=True):
        due.take_over(news.memory.due)
    if every[0].plain:
        moved = _store_plain(every, dues, marks)
    else:
        [news], [due] = every, dues
        _begin_one(news, marks.get(news.feed.pk, {}))
        counts = store_uneven(news, due, pair=pair)
        due.recompute(news.feed)
        moved = [_moved(news, due, counts)]
    sql().move_cursors(moved, now_us)
    return dues


def _begin_one(news: News, marks: Marks) -> None:
    """Notices what others wrote since this process last did."""
    if marks != news.memory.marks:
        news.memory.forget()
        news.memory.marks = marks
    if news.lane not in marks:
        Cursor.objects.create(feed=news.feed, lane=news.lane)
    start, stands = news.gathered.start.sequence, marks.get(news.lane, (1, 0))[0]
    if stands != start:
        raise CursorMoved(f"{news.feed.name}/{news.lane}: {stands}, not {start}")


def _store_plain(
    every: Sequence[News], dues: Sequence[DueBuckets], marks: dict[int, Marks]
) -> list[CursorUpdate]:
    parts = []
    for news, due in zip(every, dues, strict=True):
        g, mine = news.gathered, marks.get(news.feed.pk, {})
        if mine != news.memory.marks or mine[news.lane][0] != g.start.sequence:
            raise EachAlone
        parts.append(Part(news.feed.pk, g.stream, g.events, news.memory.open_arcs, due))
    moved: list[CursorUpdate] = []

    def note_moves() -> None:
        counts = [Counts(stored=len(part.rows)) for part in parts]
        moved.extend(map(_moved, every, dues, counts))

    try:
        append(parts, note_moves)
    except AlreadyStored as error:
        raise EachAlone from error
    return moved


def _moved(news: News, due: DueBuckets, counts: Counts) -> CursorUpdate:
    g = news.gathered
    state = {**g.state, "due": due.as_lists()} if due else g.state
    return CursorUpdate(
        news.feed.pk, news.lane, g.end.sequence, g.end.segment, g.end.offset, _as_json(state),
        g.lines - counts.known, counts.stored, counts.known, g.last_line_us,
    )  # fmt: skip


def marks_of(feed: Feed) -> Marks:
    """Where each lane of a feed stands and when that was saved: who has written shows in it."""
    rows = Cursor.objects.filter(feed=feed).values_list("lane", "sequence", "changed_us")
    return {lane: (sequence, changed_us) for lane, sequence, changed_us in rows}


def _marks(cursors: Sequence[tuple[int, str, int, int]]) -> dict[int, Marks]:
    """By feed id."""
    marks: dict[int, Marks] = {}
    for feed_id, lane, sequence, changed_us in cursors:
        marks.setdefault(feed_id, {})[lane] = (sequence, changed_us)
    return marks


def settle(every: Sequence[tuple[Feed, str, DueBuckets]]) -> None:
    """Brings the sums that these lanes left for later up to the arcs, in one transaction."""
    with transaction.atomic():
        sql().begin(sorted({feed.pk for feed, _, _ in every}))
        recompute([some for feed, _, due in every for some in due.stretches(feed.pk)])
        sql().drop_due([(feed.pk, lane) for feed, lane, _ in every])
    for _, _, due in every:
        due.clear()
