"""From the journal to events, arcs and rollups again."""

from __future__ import annotations

import heapq
from collections.abc import Iterator
from dataclasses import dataclass

from django.db import connection, transaction

from telemetry.bulk import few_collections, large_cache
from telemetry.description import parse_description
from telemetry.journal import Kind, Position, Record, read
from telemetry.lane import LANES, Lane
from telemetry.models import Cursor, Event, Feed, FeedVersion, Gap, Reject, Repeat
from telemetry.paths import journal_folder
from telemetry.store import Gathered, commit
from telemetry.store.asides import drop_filled
from telemetry.store.clock import retime_all
from telemetry.store.commit import Keeper, torches_of
from telemetry.store.gathered import row_of
from telemetry.store.mend import mend_rejects
from telemetry.store.repair import repair
from telemetry.store.rollups import Dirty
from telemetry.store.rows import insert_events
from telemetry.worker.storing import versions_of


@dataclass(frozen=True, slots=True)
class Rebuilt:
    """What one feed came to."""

    feed: str
    lines: int
    events: int
    arcs: int


def rebuild(feed: Feed, from_us: int | None = None) -> Rebuilt:
    """Decodes the journal of one feed again, in one transaction: readers see the old rows until
    the new ones stand. Arcs keep their rows where nothing changed, so what was built on them
    stays. A running worker waits, its journal growing, and goes on behind.

    `from_us` keeps the events before that instant as they are stored. Everything the journal
    holds is read all the same, because a decoder can only be brought to an instant by what came
    before it.
    """
    if feed.clock_version:
        from_us = None  # events may have moved over the border
    large_cache()
    with few_collections(), transaction.atomic():
        _clear(feed, from_us)
        _replay(feed, from_us)
        _mend(feed)
        retime_all(feed)
        drop_filled(feed, Gap.objects.filter(feed=feed, kind="seq"))
        _pair(feed, from_us)
        rows = Cursor.objects.filter(feed=feed)
        lines, events = sum(row.lines for row in rows), sum(row.events for row in rows)
        return Rebuilt(feed.name, lines, events, feed.arcs.count())


def _clear(feed: Feed, from_us: int | None) -> None:
    with connection.cursor() as cursor:
        if connection.vendor == "postgresql":
            cursor.execute("SELECT id FROM telemetry_feed WHERE id = %s FOR UPDATE", [feed.pk])
    events = Event.objects.filter(feed=feed)
    if from_us is not None:
        events = events.filter(at_us__gte=from_us)
    events._raw_delete(events.db)
    for model in (Reject, Gap, Repeat):
        model.objects.filter(feed=feed).delete()


def _replay(feed: Feed, from_us: int | None) -> None:
    """Replays the lanes as far as they had been decoded, in the order their bytes came in."""
    before = {row.lane: row for row in Cursor.objects.filter(feed=feed)}
    Cursor.objects.filter(feed=feed).delete()
    cuts = [
        item.utc_us
        for item, _ in read(journal_folder(feed.name, "backfill"))
        if isinstance(item, Record) and item.kind in (Kind.OPENED, Kind.END)
    ]
    lanes = [_gathered(feed, name, before.get(name), cuts) for name in LANES]
    keeper = Keeper()
    for name, gathered in heapq.merge(*lanes, key=lambda pair: pair[1].began_us):
        if from_us is not None:
            gathered.keep_from(from_us)
        commit(feed, name, gathered, keeper, pierces=False, pair=False)
    if from_us is not None:
        for name, row in before.items():
            Cursor.objects.filter(feed=feed, lane=name).update(
                lines=row.lines, events=row.events, known=row.known
            )


def _gathered(
    feed: Feed, name: str, cursor: Cursor | None, cuts: list[int]
) -> Iterator[tuple[str, Gathered]]:
    """One lane. Polls of a bare contact cannot be mended one by one as other lines are: those
    that the description of then refused are read by the words of the one in force."""
    versions = versions_of(feed)
    newest = versions.description(feed.version)
    until = None
    if cursor is not None:
        until = Position(cursor.segment, cursor.byte_offset, cursor.sequence)
    later = newest if newest.is_level else None
    lane = Lane(name, versions, position=Position(), state={}, later=later)
    for gathered in lane.gather(journal_folder(feed.name, name), until, cuts):
        yield name, gathered


def _mend(feed: Feed) -> None:
    """Every version once more over what is refused still: lanes can have met it in any order."""
    for version in range(2, feed.version + 1):
        events = mend_rejects(feed, version)
        insert_events(feed.pk, [row_of(event, 0, version, 0) for event in events])


def _pair(feed: Feed, from_us: int | None) -> None:
    text = FeedVersion.objects.get(feed=feed, version=feed.version).text
    pierces = parse_description(text, name=feed.name).knows.pierces
    dirty = Dirty()
    for torch in torches_of(feed):
        repair(feed, torch, from_us, None, pierces=pierces, dirty=dirty)
        dirty.recompute_from(feed, torch, from_us)
    dirty.recompute(feed)
