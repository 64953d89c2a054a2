"""Arcs and strays: what stands there, what should, and the difference."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from django.db import connection

from telemetry.store.rows import ARC_COLUMNS, ArcRow, NewArcs, StrayRow
from telemetry.store.sql import sql

_AT_ONCE = 10_000  # arcs a statement


def last_arcs_before(feed_id: int, torch: str, before_us: int) -> list[ArcRow]:
    """The last arc that began before an instant, with any that began at the same one."""
    sql = (
        f"SELECT {ARC_COLUMNS} FROM telemetry_arc WHERE feed_id = %s AND torch = %s AND on_us = "
        "(SELECT max(on_us) FROM telemetry_arc WHERE feed_id = %s AND torch = %s AND on_us < %s)"
    )
    return _select(sql, [feed_id, torch, feed_id, torch, before_us])


def arcs_from(feed_id: int, torch: str, from_us: int | None, to_us: int | None) -> list[ArcRow]:
    """Arcs of a torch that began within [from_us, to_us]; None leaves a side open."""
    args: list[Any]
    where, args = "feed_id = %s AND torch = %s", [feed_id, torch]
    if from_us is not None:
        where, args = where + " AND on_us >= %s", [*args, from_us]
    if to_us is not None:
        where, args = where + " AND on_us <= %s", [*args, to_us]
    return _select(f"SELECT {ARC_COLUMNS} FROM telemetry_arc WHERE {where}", args)


def add_arcs(known: Sequence[ArcRow], new: Sequence[ArcRow], many: Sequence[NewArcs]) -> None:
    """Stores what events behind all others came to: `known` are stored as open, the others not
    at all. Each gets a later `changed_us` than any arc before it."""
    if not known and not new and not many:
        return
    changed_us = sql().next_change()
    if known:
        sql().put_arcs(known, changed_us, ends_only=True)
    if new or many:
        sql().add_arcs(new, many, changed_us)


def put_arcs(rows: Sequence[ArcRow], gone: Sequence[str]) -> None:
    """Inserts or changes arcs by key, each with a later `changed_us` than any before it. Of arcs
    that go a note stays, for those who follow them."""
    if not rows and not gone:
        return
    changed_us = sql().next_change()
    for at in range(0, len(rows), _AT_ONCE):
        sql().put_arcs(rows[at : at + _AT_ONCE], changed_us, ends_only=False)
    if not gone:
        return
    with connection.cursor() as cursor:
        cursor.executemany(
            'INSERT INTO telemetry_gonearc (key, "table", torch, on_us, changed_us) SELECT '
            'key, "table", torch, on_us, %s FROM telemetry_arc WHERE key = %s',
            [(changed_us, key) for key in gone],
        )
        cursor.executemany("DELETE FROM telemetry_arc WHERE key = %s", [(k,) for k in gone])


def put_strays(rows: Sequence[StrayRow]) -> None:
    """Stores strays, or moves them to another time."""
    if not rows:
        return
    with connection.cursor() as cursor:
        cursor.executemany(
            "INSERT INTO telemetry_stray (feed_id, torch, at_us, kind, event_key) "
            "VALUES (%s, %s, %s, %s, %s) "
            "ON CONFLICT (feed_id, event_key) DO UPDATE SET at_us = excluded.at_us",
            rows,
        )


def drop_strays(feed_id: int, keys: Sequence[str]) -> None:
    with connection.cursor() as cursor:
        cursor.executemany(
            "DELETE FROM telemetry_stray WHERE feed_id = %s AND event_key = %s",
            [(feed_id, key) for key in keys],
        )


def stray_times(feed_id: int, torch: str, from_us: int | None, to_us: int | None) -> dict[str, int]:
    """Key of the event -> at_us, of a torch's strays within [from_us, to_us]; None leaves a side
    open."""
    args: list[Any]
    where, args = "feed_id = %s AND torch = %s", [feed_id, torch]
    if from_us is not None:
        where, args = where + " AND at_us >= %s", [*args, from_us]
    if to_us is not None:
        where, args = where + " AND at_us <= %s", [*args, to_us]
    with connection.cursor() as cursor:
        cursor.execute(f"SELECT event_key, at_us FROM telemetry_stray WHERE {where}", args)
        return dict(cursor.fetchall())


def _select(sql: str, args: Sequence[Any]) -> list[ArcRow]:
    with connection.cursor() as cursor:
        cursor.execute(sql, args)
        return [ArcRow(*row) for row in cursor.fetchall()]
