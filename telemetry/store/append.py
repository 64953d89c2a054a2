"""Events that come behind all others of their feeds, and the arcs they come to."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import NamedTuple

from telemetry.decode.row_list import Rows
from telemetry.store.arcs import add_arcs, put_strays
from telemetry.store.open_arcs import OpenArcs, PairedArcs
from telemetry.store.rollups import DueBuckets
from telemetry.store.sql import sql


class Part(NamedTuple):
    """Rows of one stream of a feed. `open_arcs` None leaves pairing to others; `due` takes the
    quarter hours that want summing."""

    feed_id: int
    stream: str
    rows: Rows
    open_arcs: OpenArcs | None
    due: DueBuckets


def append(every: Sequence[Part], then: Callable[[], None] = lambda: None) -> None:
    """Stores them. Raises AlreadyStored where a row is there: then the caller undoes all. `then` is
    called once `due` is known, while the database still takes the events in."""
    every = [part for part in every if part.rows]
    if not every:
        then()
        return
    made: list[PairedArcs] = []

    def pair() -> None:
        for part in every:
            if part.open_arcs is not None:
                part.open_arcs.feed(part.rows)
                made.append(part.open_arcs.made(part.stream))
                made[-1].mark(part.due)
        then()

    sql().add_events([(part.feed_id, part.rows) for part in every], meanwhile=pair)
    put_strays([row for some in made for row in some.strays])
    add_arcs(
        [row for some in made for row in some.known],
        [row for some in made for row in some.new],
        [arcs for some in made for arcs in some.many],
    )
