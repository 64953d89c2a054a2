"""What stood in the tables before a rebuild: what of it stays, and what has changed."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

from django.db import connection
from django.db.models import Model

from telemetry.models import Arc, Event, Feed, Gap, Reject, Repeat

Window = tuple[int | None, int | None]  # instants of arrival, both included; None: open
_COPIED: tuple[type[Model], ...] = (Event, Arc, Reject, Gap, Repeat)
_NOT_COMPARED = ("id", "changed_us")


class Changes(NamedTuple):
    """Rows of one table that came, went, or say something else under the same key."""

    added: int
    removed: int
    changed: int

    def __bool__(self) -> bool:
        return any(self)


class Before:
    """Copies of a feed's rows, in temporary tables that go with the transaction."""

    def __init__(self, feed: Feed) -> None:
        self._feed_id = feed.pk
        for model in _COPIED:
            self._copy(model)

    def keep_events(self, windows: Sequence[Window], *, level: bool) -> None:
        """Puts back events that came within the windows and were not decoded again. Polls of a
        bare contact mean something only after those before them: from the first window on what
        stood there stays, no more and no less."""
        if level:
            start = min((-1 if low is None else low) for low, _ in windows)
            windows = [(start, None)]
            self._run(
                f"DELETE FROM telemetry_event WHERE feed_id = {self._feed_id} AND "
                f"received_us >= {start} AND NOT EXISTS (SELECT 1 FROM before_event AS old "
                "WHERE old.key = telemetry_event.key)"
            )
        self._put_back(Event, " OR ".join(map(_within, windows)))

    def keep_asides(self) -> None:
        """Puts back all that is said beside the events: which of it came from what cannot be read
        is not known."""
        for model in (Reject, Gap, Repeat):
            self._put_back(model, "1 = 1")
        self._run(
            f"UPDATE telemetry_repeat SET times = before_repeat.times FROM before_repeat WHERE "
            f"telemetry_repeat.feed_id = {self._feed_id} AND telemetry_repeat.key = "
            "before_repeat.key AND before_repeat.times > telemetry_repeat.times"
        )

    def changes(self, model: type[Model]) -> Changes:
        """How the rows differ now, of Event or Arc."""
        table, old = model._meta.db_table, _old(model)
        names = ", ".join(_columns(model, without=_NOT_COMPARED))
        now = f"SELECT {names} FROM {table} WHERE feed_id = {self._feed_id}"
        mine = f"now.feed_id = {self._feed_id}"
        added = self._count(
            f"SELECT key FROM {table} AS now WHERE {mine} AND NOT EXISTS "
            f"(SELECT 1 FROM {old} AS old WHERE old.key = now.key)"
        )
        removed = self._count(
            f"SELECT key FROM {old} AS old WHERE NOT EXISTS "
            f"(SELECT 1 FROM {table} AS now WHERE {mine} AND now.key = old.key)"
        )
        differ = self._count(f"{now} EXCEPT SELECT {names} FROM {old}")
        return Changes(added, removed, differ - added)

    def drop(self) -> None:
        """Lets go of the copies."""
        for model in _COPIED:
            self._run(f"DROP TABLE {_old(model)}")

    def _copy(self, model: type[Model]) -> None:
        old, columns = _old(model), ", ".join(_columns(model))
        self._run(f"DROP TABLE IF EXISTS {old}")
        self._run(
            f"CREATE TEMPORARY TABLE {old} AS SELECT {columns} FROM {model._meta.db_table} "
            f"WHERE feed_id = {self._feed_id}"
        )
        self._run(f"CREATE INDEX {old}_key ON {old} (key)")

    def _put_back(self, model: type[Model], where: str) -> None:
        table, columns = model._meta.db_table, ", ".join(_columns(model, without=("id",)))
        self._run(
            f"INSERT INTO {table} ({columns}) SELECT {columns} FROM {_old(model)} AS old "
            f"WHERE ({where}) AND NOT EXISTS (SELECT 1 FROM {table} AS now WHERE "
            f"now.feed_id = {self._feed_id} AND now.key = old.key)"
        )

    def _run(self, sql: str) -> None:
        with connection.cursor() as cursor:
            cursor.execute(sql)

    def _count(self, sql: str) -> int:
        with connection.cursor() as cursor:
            cursor.execute(f"SELECT count(*) FROM ({sql}) AS found")
            return int(cursor.fetchone()[0])


def _old(model: type[Model]) -> str:
    return f"before_{model._meta.model_name}"


def _columns(model: type[Model], without: Sequence[str] = ()) -> list[str]:
    fields = model._meta.concrete_fields
    names = [field.column for field in fields if field.column]
    return [connection.ops.quote_name(name) for name in names if name not in without]


def _within(window: Window) -> str:
    low, high = window
    return (
        f"({low is None or f'received_us >= {low}'} AND {high is None or f'received_us <= {high}'})"
    )
