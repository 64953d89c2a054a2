"""Arc and stray rows: what stands there, what should, and the difference."""

from __future__ import annotations

import time
from collections.abc import Iterable, Sequence
from typing import Any, NamedTuple

from django.db import connection

from telemetry.arcs import pairing
from telemetry.models import Feed
from telemetry.store.moved import STRAY_COLUMNS, stray_rows
from telemetry.store.rows import insert_many

_COLUMNS = (
    'key, feed_id, "table", torch, on_us, off_us, ended, pierces, first_pierce_us, program, '
    "amps, volts, feed_version, clock_version"
)
FIELDS = _COLUMNS.split(", ")
_COPY_FROM = 200
CHANGES_LOCK = 0x6B657266  # any number, the same in every process


class ArcRow(NamedTuple):
    """One row of the arc table but for its id and the instant it changed."""

    key: str
    feed_id: int
    table: str
    torch: str
    on_us: int
    off_us: int | None
    ended: str
    pierces: int | None
    first_pierce_us: int | None
    program: str | None
    amps: float | None
    volts: float | None
    feed_version: int
    clock_version: int


def arc_row(feed: Feed, arc: pairing.Arc, table: str, versions: tuple[int, int]) -> ArcRow:
    """`table` and `versions` (of description and clock) are those its beginning was read under."""
    return ArcRow(
        f"{feed.name}|{arc.torch}|{arc.key}", feed.pk, table, arc.torch, arc.on_us,
        arc.off_us, arc.ended, arc.pierces, arc.first_pierce_us, arc.program, arc.amps,
        arc.volts, *versions,
    )  # fmt: skip


def last_arcs_before(feed_id: int, torch: str, before_us: int) -> list[ArcRow]:
    """The last arc that began before an instant, with any that began at the same one."""
    sql = (
        f"SELECT {_COLUMNS} FROM telemetry_arc WHERE feed_id = %s AND torch = %s AND on_us = "
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
    return _select(f"SELECT {_COLUMNS} FROM telemetry_arc WHERE {where}", args)


def save_arcs(rows: Sequence[ArcRow], gone: Iterable[str] = (), *, all_new: bool = False) -> None:
    """Inserts or updates arcs by key, each with a later `changed_us` than any before it. Of arcs
    that go a note stays, for those who follow them. `all_new` says that none is there yet, as those
    of events behind all others."""
    gone = list(gone)
    if not rows and not gone:
        return
    # The key names the feed, so it stays; to set it again would have SQLite check it once more for
    # every row, at twice the cost.
    changes = [name for name in [*FIELDS[1:], "changed_us"] if name != "feed_id"]
    update = ", ".join(f"{name} = excluded.{name}" for name in changes)
    with connection.cursor() as cursor:
        changed_us = next_change(cursor)
        if rows:
            into = f"INSERT INTO telemetry_arc ({_COLUMNS}, changed_us)"
            on_conflict = f"ON CONFLICT (key) DO UPDATE SET {update}"
            changed = [(*row, changed_us) for row in rows]
            if connection.vendor == "postgresql" and len(rows) >= _COPY_FROM:
                _copy(cursor, "telemetry_arc" if all_new else _staging(cursor), changed)
                if not all_new:
                    cursor.execute(
                        f"{into} SELECT {_COLUMNS}, changed_us FROM incoming_arc {on_conflict}"
                    )
            elif connection.vendor == "sqlite" and all_new:
                insert_many(cursor.cursor, into, f"({', '.join('?' * (len(FIELDS) + 1))})", changed)
            else:
                raw = cursor.cursor if connection.vendor == "sqlite" else cursor
                mark = "?" if connection.vendor == "sqlite" else "%s"
                marks = ", ".join([mark] * (len(FIELDS) + 1))
                raw.executemany(f"{into} VALUES ({marks}) {on_conflict}", changed)
        if gone:
            cursor.executemany(
                'INSERT INTO telemetry_gonearc (key, "table", torch, on_us, changed_us) SELECT '
                'key, "table", torch, on_us, %s FROM telemetry_arc WHERE key = %s',
                [(changed_us, key) for key in gone],
            )
            cursor.executemany("DELETE FROM telemetry_arc WHERE key = %s", [(k,) for k in gone])


def _staging(cursor: Any) -> str:
    cursor.execute(
        "CREATE TEMPORARY TABLE IF NOT EXISTS incoming_arc ON COMMIT DELETE ROWS AS "
        f"SELECT {_COLUMNS}, changed_us FROM telemetry_arc WITH NO DATA"
    )
    cursor.execute("TRUNCATE incoming_arc")
    return "incoming_arc"


def _copy(cursor: Any, table: str, rows: Sequence[tuple[Any, ...]]) -> None:
    with cursor.copy(f"COPY {table} ({_COLUMNS}, changed_us) FROM STDIN") as copy:
        for row in rows:
            copy.write_row(row)


def next_change(cursor: Any) -> int:
    """Now, but later than every change so far, and so that no earlier one can commit after it:
    whoever follows arcs by (changed_us, id) then misses none."""
    if connection.vendor == "postgresql":
        cursor.execute("SELECT pg_advisory_xact_lock(%s)", [CHANGES_LOCK])
    return max(time.time_ns() // 1000, latest_change(cursor) + 1)


def latest_change(cursor: Any) -> int:
    """The newest `changed_us` of an arc, also of one that is no more; 0 where there is none."""
    last = 0
    for table in ("telemetry_arc", "telemetry_gonearc"):
        cursor.execute(f"SELECT max(changed_us) FROM {table}")
        last = max(last, cursor.fetchone()[0] or 0)
    return last


StrayRow = tuple[str, int, int, str]  # torch, at_us, kind of the event, key


def save_strays(feed_id: int, new: Sequence[StrayRow], gone: Iterable[str] = ()) -> None:
    """Inserts strays or moves them to another time, and drops those whose keys are `gone`."""
    with connection.cursor() as cursor:
        if new:
            cursor.executemany(
                f"INSERT INTO telemetry_stray ({STRAY_COLUMNS}) VALUES (%s, %s, %s, %s, %s) "
                "ON CONFLICT (feed_id, event_key) DO UPDATE SET at_us = excluded.at_us",
                stray_rows((feed_id, *stray) for stray in new),
            )
        if lost := [(feed_id, key) for key in gone]:
            cursor.executemany(
                "DELETE FROM telemetry_stray WHERE feed_id = %s AND event_key = %s", lost
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
