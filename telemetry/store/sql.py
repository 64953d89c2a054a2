"""The SQL in which the databases differ: one module each, alike in what it offers."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from typing import Protocol

from django.db import connection

from telemetry.decode.row_list import Rows
from telemetry.store import postgresql, sqlite
from telemetry.store.rows import ArcRow, CursorUpdate, NewArcs


class Sql(Protocol):
    """All within the caller's transaction. Errors of the driver may come as they are."""

    def begin(self, feed_ids: Sequence[int]) -> list[tuple[int, str, int, int]]:
        """Keeps other writers of these feeds out until the end of the transaction, and returns
        their cursors: (feed_id, lane, sequence, changed_us)."""

    def add_events(self, every: Iterable[tuple[int, Rows]], meanwhile: Callable[[], None]) -> None:
        """Stores new events, by feed id. Raises AlreadyStored where one is there: then the caller
        undoes all. `meanwhile` is called once, while a server works on the rows: it must not ask
        the database, and may come to nothing."""

    def stored_first(self, feed_id: int, keys: bytes) -> int:
        """How many of these rising keys of 16 bytes are stored, if they are the first ones and no
        other key lies among them; else 0."""

    def next_change(self) -> int:
        """Now in us, but later than every change so far, and so that no earlier one can commit
        after it: whoever follows arcs by (changed_us, id) then misses none."""

    def add_arcs(self, rows: Sequence[ArcRow], many: Sequence[NewArcs], changed_us: int) -> None:
        """Stores arcs of which none is there yet."""

    def put_arcs(self, rows: Sequence[ArcRow], changed_us: int, *, ends_only: bool) -> None:
        """Stores arcs or changes them. `ends_only`: those that are there keep how they began."""

    def move_cursors(self, moved: Sequence[CursorUpdate], now_us: int) -> None:
        """Moves cursors, each of them there."""

    def drop_due(self, lanes: Sequence[tuple[int, str]]) -> None:
        """Notes in the cursors of these (feed_id, lane) that no sums are due."""


_BY_VENDOR: dict[str, Sql] = {"postgresql": postgresql, "sqlite": sqlite}


def sql() -> Sql:
    """The module of the database in use."""
    return _BY_VENDOR[connection.vendor]
