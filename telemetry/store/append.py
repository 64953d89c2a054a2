"""Events that come behind all others of their feeds, and the arcs they come to."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

from telemetry.decode.row_list import Rows
from telemetry.store.arcs import add_arcs, put_strays
from telemetry.store.open_arcs import OpenArcs
from telemetry.store.rollups import DueBuckets
from telemetry.store.rows import ArcRow, NewArcs, StrayRow
from telemetry.store.sql import sql


class Part(NamedTuple):
    """Rows of one stream of a feed. `open_arcs` None leaves pairing to others; `due` takes the
    quarter hours that want summing."""

    feed_id: int
    stream: str
    rows: Rows
    open_arcs: OpenArcs | None
    due: DueBuckets


def append(every: Sequence[Part]) -> None:
    """Stores them. Raises AlreadyStored where a row is there: then the caller undoes all."""
    every = [part for part in every if part.rows]
    if not every:
        return

    def pair() -> None:
        for part in every:
            if part.open_arcs is not None:
                part.open_arcs.feed(part.rows)

    sql().add_events([(part.feed_id, part.rows) for part in every], meanwhile=pair)
    known: list[ArcRow] = []
    new: list[ArcRow] = []
    many: list[NewArcs] = []
    strays: list[StrayRow] = []
    for part in every:
        if part.open_arcs is None:
            continue
        made = part.open_arcs.made(part.stream)
        made.mark(part.due)
        known += made.known
        new += made.new
        many += made.many
        strays += made.strays
    put_strays(strays)
    add_arcs(known, new, many)
