"""The open end of a feed: a pairer a torch, standing behind the last stored event."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import groupby
from operator import itemgetter
from typing import NamedTuple

from django.db import connection

from telemetry.arcs.pairing import Arc, Pairer
from telemetry.arcs.pairing_columns import first_start, take_many
from telemetry.decode.row_blocks import AnyRow, RowBlock
from telemetry.decode.row_list import Rows
from telemetry.events import ARC_ON
from telemetry.models import Feed
from telemetry.store.by_version import tables_of, tells_pierces
from telemetry.store.repair import start
from telemetry.store.rollups import DueBuckets
from telemetry.store.rows import ArcRow, NewArcs, StrayRow, arc_row, stray_row


class PairedArcs(NamedTuple):
    """Rows of arcs that stand in the database as open, of others, and of strays; and arcs that were
    paired by arrays."""

    known: list[ArcRow]
    new: list[ArcRow]
    strays: list[StrayRow]
    many: list[NewArcs]

    def mark(self, due: DueBuckets) -> None:
        """Notes the quarter hours they burnt in."""
        for row in [*self.known, *self.new]:
            due.add(row)
        for new in self.many:
            due.add_all(new.arcs.torch, new.arcs.on_us, new.arcs.off_us)


class OpenArcs:
    """Extends a feed's arcs by events that follow all stored ones.

    `owner` names the stream whose event is the last one: it may go on within the same instant,
    another stream may not. Made anew from the rows wherever somebody else may have written.
    """

    def __init__(self, feed: Feed, *, pierces: bool) -> None:
        self._feed, self._pierces = feed, pierces
        self._pairers: dict[str, Pairer] = {}
        self._versions: dict[str, tuple[int, int]] = {}  # by key of an arc_on
        self._tables: dict[int, str] = {}  # by version of the description
        self._stored: dict[str, ArcRow] = {}
        self._open: set[str] = set()  # keys of arcs that are stored as open
        self._untold: set[str] = set()  # keys of arcs that know no pierces, though later ones do
        self._arcs: list[ArcRow] = []  # of rows fed, not said yet
        self._many: list[NewArcs] = []
        self._strays: list[StrayRow] = []
        self._fed: set[str] = set()  # torches
        self.owner = ""
        with connection.cursor() as cursor:
            cursor.execute("SELECT max(at_us) FROM telemetry_event WHERE feed_id = %s", [feed.pk])
            self.head_us: int | None = cursor.fetchone()[0]

    def follows(self, at_us: int, stream: str) -> bool:
        """Whether an event, and what its stream gives after it, comes after all stored ones."""
        if self.head_us is None or at_us > self.head_us:
            return True
        return stream == self.owner and at_us == self.head_us

    def knows(self, torches: set[str], feed_version: int) -> bool:
        """Whether the pairers of all these torches are there, and what a version says."""
        return torches - {""} <= self._pairers.keys() and feed_version in self._tables

    def load(self, torches: set[str], feed_version: int) -> None:
        """Brings the pairers of these torches up to the stored events, before new ones go in that
        were read under a version of the description."""
        self._know({feed_version})
        for torch in torches - self._pairers.keys() - {""}:
            after_us = None if self.head_us is None else self.head_us + 1
            pairer, events, _ = start(self._feed, torch, after_us, pierces=self._pierces)
            for event, feed_version, clock_version in events:
                if event.kind == ARC_ON:
                    self._versions[event.key] = (feed_version, clock_version)
                pairer.feed(event)
            self._pairers[torch] = pairer
            if (still := pairer.open_arc()) is not None:
                self._open.add(f"{self._feed.name}|{torch}|{still.key}")
                version = self._versions[still.key][0]
                self._know({version})
                if not tells_pierces(self._feed, {version}, now=self._pierces)[version]:
                    self._untold.add(still.key)

    def _know(self, versions: set[int]) -> None:
        if missing := versions - self._tables.keys():
            self._tables |= tables_of(self._feed, missing)

    def feed(self, rows: Rows) -> None:
        """Takes rows, in order and all of one stream; `made` then says what came of them."""
        for part in rows.parts:
            if isinstance(part, list):
                self._take(part)
            else:
                self._take_stretch(part)

    def _take_stretch(self, stretch: RowBlock) -> None:
        first = first_start(stretch.lines)
        if first is None:
            self._take(stretch.rows())
            return
        # The pairer comes into the stretch in whatever it was; from an arc_on on it is known.
        self._take(stretch.part(0, first + 1).rows())
        rest = stretch.part(first, len(stretch))
        torch = rest.lines.torch or ""
        pairer = self._pairers[torch]
        if pairer.burning is not None:  # asked for no more, unless it still burns at the end
            self._versions.pop(pairer.burning.key)
        arcs, strays = take_many(pairer, rest.lines)
        if len(arcs):
            version = stretch.feed_version
            self._many.append(NewArcs(self._feed, arcs, self._tables[version], version))
        for place in strays:
            [row] = rest.part(place, place + 1).rows()
            self._strays.append(stray_row(self._feed, torch, row[1], row[5], row[0].hex()))
        if pairer.burning is not None:
            self._versions[pairer.burning.key] = (stretch.feed_version, 0)
        self.head_us = int(rest.lines.times_us[-1])

    def _take(self, rows: Sequence[AnyRow]) -> None:
        pairers, versions = self._pairers, self._versions
        versions.update((row[0].hex(), row[10:12]) for row in rows if row[5] == ARC_ON)
        torches = {row[4] for row in rows}
        for some in [rows] if len(torches) == 1 else _stretches(rows):
            torch = some[0][4]
            if not torch:
                for every in pairers.values():
                    every.program = some[-1][7]
                continue
            for ended, row in pairers[torch].take_all(some):
                if ended is None:
                    self._strays.append(stray_row(self._feed, torch, row[1], row[5], row[0].hex()))
                else:
                    self._arcs.append(self._row(ended, versions.pop(ended.key)))
        self._fed |= torches - {""}
        self.head_us = rows[-1][1]

    def made(self, stream: str) -> PairedArcs:
        """What the rows fed since the last call ended, opened or left over."""
        arcs, strays, many = self._arcs, self._strays, self._many
        for torch in self._fed:
            still = self._pairers[torch].open_arc()
            if still is not None:
                arc = self._row(still, self._versions[still.key])
                if self._stored.get(torch) != arc:
                    self._stored[torch] = arc
                    arcs.append(arc)
        known = [row for row in arcs if row.key in self._open]
        new = [row for row in arcs if row.key not in self._open]
        self._open.difference_update(row.key for row in known)
        self._open.update(row.key for row in arcs if row.ended == "open")
        self.owner = stream
        self._arcs, self._strays, self._many, self._fed = [], [], [], set()
        return PairedArcs(known, new, strays, many)

    def _row(self, arc: Arc, versions: tuple[int, int]) -> ArcRow:
        row = arc_row(self._feed, arc, self._tables[versions[0]], versions)
        return row._replace(pierces=None) if arc.key in self._untold else row


def _stretches(rows: Sequence[AnyRow]) -> Iterator[list[AnyRow]]:
    """Neighbouring rows of one torch."""
    return (list(some) for _, some in groupby(rows, key=itemgetter(4)))
