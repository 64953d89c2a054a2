"""Pairs again the range that late or backfilled events touched, from what is stored."""

from __future__ import annotations

from collections.abc import Iterator

from telemetry.arcs.pairing import Arc, Pairer
from telemetry.events import ARC_ON, Event
from telemetry.models import Feed
from telemetry.store.arcs import (
    arcs_from,
    drop_strays,
    last_arcs_before,
    put_arcs,
    put_strays,
    stray_times,
)
from telemetry.store.by_version import tables_of, tells_pierces
from telemetry.store.events import StoredEvent, read_events
from telemetry.store.rollups import DueBuckets
from telemetry.store.rows import ArcRow, arc_row, stray_row


def repair(
    feed: Feed,
    torch: str,
    first_us: int | None,
    last_us: int | None,
    *,
    pierces: bool,
    dirty: DueBuckets,
) -> None:
    """Makes the arcs and strays of one torch those of its stored events again.

    The range begins at the last arc before `first_us` (None: the beginning). It ends where an
    arc_on after `last_us` finds the program that is on record for its arc: from there on nothing
    can differ. Only rows that changed are written; keys stay.
    """
    pairer, events, from_us = start(feed, torch, first_us, pierces=True)
    whole = from_us is None and last_us is None
    stop_us: int | None = None
    known = _KnownPrograms(feed.pk, torch, last_us)
    arcs: list[Arc] = []
    strays: list[Event] = []
    seen: set[str] = set()
    versions: dict[str, tuple[int, int]] = {}
    for event, feed_version, clock_version in events:
        stop = last_us is not None and event.time_us > last_us and event.kind == ARC_ON
        if stop and known.same(event, pairer.program):
            stop_us = event.time_us
        ended = pairer.feed(event)
        if ended is not None:
            arcs.append(ended)
        if stop_us is not None:
            break
        seen.add(event.key)
        if event.kind == ARC_ON:
            versions[event.key] = (feed_version, clock_version)
        elif pairer.stray:
            strays.append(event)
    if stop_us is None and (still := pairer.open_arc()) is not None:
        arcs.append(still)
    rows = _rows(feed, [(arc, versions[arc.key]) for arc in arcs], pierces=pierces)
    _write(feed, torch, (from_us, stop_us), rows, strays, None if whole else seen, dirty)


def _rows(feed: Feed, arcs: list[tuple[Arc, tuple[int, int]]], *, pierces: bool) -> list[ArcRow]:
    """Arcs as the versions that their beginning was read under have them."""
    used = {feed_version for _, (feed_version, _) in arcs}
    tables, tells = tables_of(feed, used), tells_pierces(feed, used, now=pierces)
    rows = [arc_row(feed, arc, tables[versions[0]], versions) for arc, versions in arcs]
    return [row if tells[row.feed_version] else row._replace(pierces=None) for row in rows]


def _write(
    feed: Feed,
    torch: str,
    span: tuple[int | None, int | None],
    arcs: list[ArcRow],
    strays: list[Event],
    seen: set[str] | None,
    dirty: DueBuckets,
) -> None:
    """Writes the difference. `seen` are the events of the range; None where that is all."""
    stored = {row.key: row for row in arcs_from(feed.pk, torch, *span)}
    changed = [row for row in arcs if stored.get(row.key) != row]
    wanted = {row.key for row in arcs}
    gone = [
        key
        for key in stored
        if key not in wanted and (seen is None or key.rpartition("|")[2] in seen)
    ]
    for row in changed:
        dirty.add(row)
        if row.key in stored:
            dirty.add(stored[row.key])
    for key in gone:
        dirty.add(stored[key])
    put_arcs(changed, gone)
    old = stray_times(feed.pk, torch, *span)
    new = {event.key for event in strays}
    lost = [key for key in old if key not in new and (seen is None or key in seen)]
    # Where the clock was corrected a stray stays one at another time.
    moved = [event for event in strays if old.get(event.key) != event.time_us]
    put_strays([stray_row(feed, torch, e.time_us, e.kind, e.key) for e in moved])
    drop_strays(feed.pk, lost)


def start(
    feed: Feed, torch: str, first_us: int | None, *, pierces: bool
) -> tuple[Pairer, Iterator[StoredEvent], int | None]:
    """A pairer, the stored events it must be fed (from the last arc before `first_us` on), and
    the instant of the first of them; None where that is the very beginning."""
    before = [] if first_us is None else last_arcs_before(feed.pk, torch, first_us)
    if not before:
        return Pairer(torch, knows_pierces=pierces), read_events(feed.pk, torch, None), None
    keys = {row.key.rpartition("|")[2] for row in before}
    events = read_events(feed.pk, torch, before[0].on_us)
    first = next((item for item in events if item[0].key in keys), None)
    if first is None:
        return Pairer(torch, knows_pierces=pierces), read_events(feed.pk, torch, None), None
    program = next(row.program for row in before if row.key.endswith("|" + first[0].key))
    pairer = Pairer(torch, knows_pierces=pierces, program=program)
    return pairer, _again(first, events), before[0].on_us


def _again(first: StoredEvent, rest: Iterator[StoredEvent]) -> Iterator[StoredEvent]:
    yield first
    yield from rest


class _KnownPrograms:
    """The program on record for arcs after the touched range, fetched once needed."""

    def __init__(self, feed_id: int, torch: str, last_us: int | None) -> None:
        self._feed_id, self._torch, self._last_us = feed_id, torch, last_us
        self._programs: dict[str, str | None] = {}

    def same(self, event: Event, program: str | None) -> bool:
        if event.key not in self._programs:
            at_us = event.time_us
            for row in arcs_from(self._feed_id, self._torch, at_us, at_us):
                self._programs[row.key.rpartition("|")[2]] = row.program
        return event.key in self._programs and self._programs[event.key] == program
