"""From the journal to events, arcs and rollups again."""

from __future__ import annotations

import heapq
import time
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

from django.db import transaction

from telemetry.description import Description, parse_description
from telemetry.description.versions import Versions
from telemetry.journal import Kind, Position, Record, Span, judge, read
from telemetry.journal.thinned import Lane as ThinnedLane
from telemetry.journal.thinned import Thinned, thinned_read
from telemetry.lanes.gathered import row_of
from telemetry.lanes.lane import LANES, Lane
from telemetry.locks import Lock
from telemetry.models import Arc, Cursor, Event, Feed, FeedVersion, Gap, Reject, Repeat
from telemetry.paths import feed_folder, journal_folder, lock_path
from telemetry.store import FeedMemory, Gathered, News, commit
from telemetry.store.before import Before, Changes, Window
from telemetry.store.clock import retime_all
from telemetry.store.events import add_missing
from telemetry.store.exceptions import drop_filled
from telemetry.store.repair import repair
from telemetry.store.reread_rejects import reread_rejects
from telemetry.store.rollups import DueBuckets
from telemetry.store.uneven import torches_of
from telemetry.worker.bulk import large_cache, pause_garbage_collection
from telemetry.worker.lane_runner import version_in_force, versions_of

_AROUND_US = 5_000_000  # beside the window of late lines, around what cannot be read


@dataclass(frozen=True, slots=True)
class Rebuilt:
    """What one feed came to, what that changed, and what of its journal cannot be read."""

    feed: str
    lines: int
    events: int
    arcs: int
    event_changes: Changes
    arc_changes: Changes
    unreadable: tuple[Span, ...]


def rebuild(feed: Feed, from_us: int | None = None, *, dry_run: bool = False) -> Rebuilt:
    """Decodes the journal of one feed again, in one transaction: readers see the old rows until
    the new ones stand, and killed at any instant the old ones stay. Arcs keep their rows where
    nothing changed, so what was built on them stays. A running worker waits, its journal growing,
    and goes on behind; a second rebuild is refused (Busy).

    The journal is read and judged first. Rows that came in while records were written that cannot
    be read stay as they are. `from_us` keeps the events before that instant as they are stored.
    Everything the journal holds is read all the same, because a decoder can only be brought to an
    instant by what came before it. `dry_run` does all of it and takes it back.

    Of a journal that was thinned, what came in up to its last deleted line stays as it is stored,
    and decoding goes on from the state kept where the segments now begin.
    """
    thinned = thinned_read(feed_folder(feed.name))
    lock = Lock(lock_path(feed.name, "rebuild"), f"feed {feed.name!r}", "rebuilt")
    try:
        spans = _unreadable(feed, thinned)
        if feed.clock_version:
            from_us = None  # events may have moved over the border
        large_cache()
        with pause_garbage_collection(), transaction.atomic():
            done = _rebuild(feed, from_us, spans, thinned)
            if dry_run:
                transaction.set_rollback(True)
        return done
    finally:
        lock.release()


Spans = Mapping[str, tuple[Span, ...]]  # by lane


def _unreadable(feed: Feed, thinned: Thinned) -> Spans:
    """What cannot be read and should be: what was thinned is gone on purpose."""
    stored = dict(Cursor.objects.filter(feed=feed).values_list("lane", "sequence"))
    return {
        name: tuple(
            span
            for span in judge(journal_folder(feed.name, name), stored.get(name, 1)).spans
            if span.next_sequence > thinned.lane(name).sequence
        )
        for name in LANES
    }


def _rebuild(feed: Feed, from_us: int | None, spans: Spans, thinned: Thinned) -> Rebuilt:
    Feed.objects.select_for_update().get(pk=feed.pk)
    description = _description(feed)
    every = [span for some in spans.values() for span in some]
    versions = _versions(feed, every)
    old = Before(feed)
    _clear(feed, from_us, thinned)
    _replay(feed, from_us, spans, versions, thinned)
    if every:
        windows = [_window(span, description.window_s) for span in every]
        old.keep_events(windows, level=description.is_level)
        old.keep_asides()
    _mend(feed)
    retime_all(feed)
    drop_filled(feed, Gap.objects.filter(feed=feed, kind="seq"))
    _pair(feed, from_us, pierces=description.knows.pierces)
    rows = Cursor.objects.filter(feed=feed)
    lines, events = sum(row.lines for row in rows), sum(row.events for row in rows)
    changes = old.changes(Event), old.changes(Arc)
    old.drop()
    return Rebuilt(feed.name, lines, events, feed.arcs.count(), *changes, tuple(every))


def _window(span: Span, late_s: float) -> Window:
    """When lines of a span came in, and a little around it. A clock that was set back within it
    leaves that open."""
    after_us, before_us = span.after_us, span.before_us
    if after_us is not None and before_us is not None and before_us < after_us:
        return None, None
    around_us = _AROUND_US + int(late_s * 1e6)
    low = None if after_us is None else after_us - around_us
    return low, None if before_us is None else before_us + around_us


def _versions(feed: Feed, every: Sequence[Span]) -> Versions:
    """Which description was in force behind each span is told by rows that are cleared next."""
    known = {
        span.before_us: version_in_force(feed, span.before_us)
        for span in every
        if span.before_us is not None
    }
    return Versions(
        feed.name, versions_of(feed).text, lambda instant_us: known.get(instant_us, feed.version)
    )


def _description(feed: Feed) -> Description:
    text = FeedVersion.objects.get(feed=feed, version=feed.version).text
    return parse_description(text, name=feed.name)


def _clear(feed: Feed, from_us: int | None, thinned: Thinned) -> None:
    events = Event.objects.filter(feed=feed)
    if from_us is not None:
        events = events.filter(at_us__gte=from_us)
    if thinned.lanes:
        events = events.filter(received_us__gt=thinned.came_us)
    events._raw_delete(events.db)
    if thinned.lanes:
        return  # which of what stands beside the events came from deleted segments is not known
    for model in (Reject, Gap, Repeat):
        model.objects.filter(feed=feed).delete()


def _replay(
    feed: Feed, from_us: int | None, spans: Spans, versions: Versions, thinned: Thinned
) -> None:
    """Replays the lanes as far as they had been decoded, in the order their bytes came in."""
    before = {row.lane: row for row in Cursor.objects.filter(feed=feed)}
    Cursor.objects.filter(feed=feed).delete()
    cuts = [
        item.utc_us
        for item, _ in read(journal_folder(feed.name, "backfill"), unreadable={})
        if isinstance(item, Record) and item.kind in (Kind.OPENED, Kind.END)
    ]
    for name, kept in thinned.lanes.items():
        first = kept.position
        Cursor.objects.create(feed=feed, lane=name, sequence=first.sequence, segment=first.segment)
    lanes = [
        _gathered(feed, name, before.get(name), cuts, versions, thinned.lane(name))
        for name in LANES
    ]
    memory = FeedMemory()
    for name, gathered in heapq.merge(*lanes, key=lambda pair: pair[1].began_us):
        if from_us is not None:
            gathered.keep_from(from_us)
        commit([News(feed, name, gathered, memory)], pair=False)
    for name, row in before.items():
        if spans[name] or name in thinned.lanes:
            _put_back(row)
        elif from_us is not None:
            Cursor.objects.filter(feed=feed, lane=name).update(
                lines=row.lines, events=row.events, known=row.known
            )


def _put_back(row: Cursor) -> None:
    """Where a lane stood that has been through all of its journal: counts, and the decoder's
    state, that what can still be read does not give."""
    Cursor.objects.filter(feed=row.feed_id, lane=row.lane).delete()
    row.pk, row.changed_us = None, time.time_ns() // 1000
    row.save(force_insert=True)


def _gathered(
    feed: Feed,
    name: str,
    cursor: Cursor | None,
    cuts: list[int],
    versions: Versions,
    kept: ThinnedLane,
) -> Iterator[tuple[str, Gathered]]:
    """One lane. Polls of a bare contact cannot be mended one by one as other lines are: those
    that the description of then refused are read by the words of the one in force."""
    newest = versions.description(feed.version)
    until = None
    if cursor is not None:
        until = Position(cursor.segment, cursor.byte_offset, cursor.sequence)
    later = newest if newest.is_level else None
    lane = Lane(
        name, versions, position=kept.position, state=kept.fresh_state(), later=later, unreadable={}
    )
    for gathered in lane.gather(journal_folder(feed.name, name), until, cuts):
        yield name, gathered


def _mend(feed: Feed) -> None:
    """Every version once more over what is refused still: lanes can have met it in any order."""
    later = FeedVersion.objects.filter(feed=feed, version__gt=1).order_by("version")
    for version in later.values_list("version", flat=True):
        events = reread_rejects(feed, version)
        add_missing(feed.pk, [row_of(event, 0, version, 0) for event in events])


def _pair(feed: Feed, from_us: int | None, *, pierces: bool) -> None:
    dirty = DueBuckets()
    for torch in torches_of(feed):
        repair(feed, torch, from_us, None, pierces=pierces, dirty=dirty)
        dirty.recompute_from(feed, torch, from_us)
    dirty.recompute(feed)
