"""Bulk reading and writing over the raw connection, alike on SQLite and PostgreSQL."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from typing import Any

from django.db import connection

from telemetry.events import Event

EVENT_COLUMNS = (
    "feed_id, key, at_us, seq, tie, torch, kind, number, text, stamp, received_us, "
    "feed_version, clock_version"
)
_EVENT_MARKS = ", ".join(["%s"] * 13)
EventRow = tuple[Any, ...]
_IN_CHUNK = 900
_COPY_FROM = 200


def event_row(
    event: Event, tie: int, feed_id: int, feed_version: int, clock_version: int
) -> EventRow:
    return (
        feed_id,
        bytes.fromhex(event.key),
        event.time_us,
        -1 if event.seq is None else event.seq,
        tie,
        event.torch,
        event.kind,
        event.value,
        event.text,
        event.raw_stamp[:64],
        event.arrival_us or 0,
        feed_version,
        clock_version,
    )


def insert_events(rows: list[EventRow]) -> int:
    """Inserts what is not there yet; returns how many were."""
    if not rows:
        return 0
    rows.sort(key=lambda row: row[1])  # by key: neighbours in the tree are written together
    with connection.cursor() as cursor:
        if connection.vendor == "sqlite":
            raw = cursor.cursor
            sql = f"INSERT OR IGNORE INTO telemetry_event ({EVENT_COLUMNS}) VALUES ({_EVENT_MARKS})"
            raw.executemany(sql, rows)
            return int(raw.rowcount)
        if len(rows) >= _COPY_FROM:
            return _copy_events(cursor, rows)
        cursor.executemany(
            f"INSERT INTO telemetry_event ({EVENT_COLUMNS}) VALUES ({_EVENT_MARKS}) "
            "ON CONFLICT DO NOTHING",
            rows,
        )
        return int(cursor.rowcount)


def _copy_events(cursor: Any, rows: list[EventRow]) -> int:
    cursor.execute(
        "CREATE TEMPORARY TABLE IF NOT EXISTS incoming_event "
        "(LIKE telemetry_event INCLUDING DEFAULTS) ON COMMIT DELETE ROWS"
    )
    cursor.execute("TRUNCATE incoming_event")
    with cursor.copy(f"COPY incoming_event ({EVENT_COLUMNS}) FROM STDIN") as copy:
        for row in rows:
            copy.write_row(row)
    cursor.execute(
        f"INSERT INTO telemetry_event ({EVENT_COLUMNS}) SELECT {EVENT_COLUMNS} "
        "FROM incoming_event ON CONFLICT DO NOTHING"
    )
    return int(cursor.rowcount)


def stored_ties(feed_id: int, keys: Sequence[str]) -> dict[str, tuple[int, int]]:
    """Of these keys, those already stored: key -> (tie, at_us)."""
    found: dict[str, tuple[int, int]] = {}
    with connection.cursor() as cursor:
        for some in _chunks(keys):
            marks = ", ".join(["%s"] * len(some))
            cursor.execute(
                "SELECT key, tie, at_us FROM telemetry_event "
                f"WHERE feed_id = %s AND key IN ({marks})",
                [feed_id, *(bytes.fromhex(key) for key in some)],
            )
            for key, tie, at_us in cursor.fetchall():
                found[bytes(key).hex()] = (tie, at_us)
    return found


def raise_ties(feed_id: int, ties: dict[str, int]) -> None:
    """Moves stored events behind others of their instant, as a fuller source gave them."""
    with connection.cursor() as cursor:
        cursor.executemany(
            "UPDATE telemetry_event SET tie = %s WHERE feed_id = %s AND key = %s",
            [(tie, feed_id, bytes.fromhex(key)) for key, tie in ties.items()],
        )


def known_keys(table: str, column: str, feed_id: int, keys: Sequence[str]) -> set[str]:
    """Of these text keys, those already in `table`."""
    found: set[str] = set()
    with connection.cursor() as cursor:
        for some in _chunks(keys):
            marks = ", ".join(["%s"] * len(some))
            cursor.execute(
                f"SELECT {column} FROM {table} WHERE feed_id = %s AND {column} IN ({marks})",
                [feed_id, *some],
            )
            found.update(row[0] for row in cursor.fetchall())
    return found


StoredEvent = tuple[Event, int, int]  # event, feed_version, clock_version


def read_events(feed_id: int, torch: str, from_us: int | None) -> Iterator[StoredEvent]:
    """Stored events of one torch in order, from an instant on (None: all).

    Programs that name no torch are every torch's and come with them.
    """
    after: tuple[int, int, int, Any] | None = None
    size = _FIRST_PAGE
    while True:
        page = _event_page(feed_id, torch, from_us, after, size)
        for row in page:
            yield _to_event(row, torch), row[7], row[8]
        if len(page) < size:
            return
        after = (page[-1][1], page[-1][2], page[-1][3], page[-1][0])
        size = _NEXT_PAGE


_FIRST_PAGE, _NEXT_PAGE = 500, 10_000


def _event_page(
    feed_id: int,
    torch: str,
    from_us: int | None,
    after: tuple[int, int, int, Any] | None,
    size: int,
) -> list[Any]:
    args: list[Any]
    where, args = "feed_id = %s AND torch IN (%s, '')", [feed_id, torch]
    if after is not None:
        where += " AND at_us >= %s AND (at_us, seq, tie, key) > (%s, %s, %s, %s)"
        args += [after[0], *after]
    elif from_us is not None:
        where += " AND at_us >= %s"
        args.append(from_us)
    with connection.cursor() as cursor:
        cursor.execute(
            "SELECT key, at_us, seq, tie, kind, number, text, feed_version, clock_version "
            f"FROM telemetry_event WHERE {where} ORDER BY at_us, seq, tie, key LIMIT {size}",
            args,
        )
        return list(cursor.fetchall())


def _to_event(row: Sequence[Any], torch: str) -> Event:
    return Event(
        bytes(row[0]).hex(), row[1], row[4], torch, row[2], 0, "", row[5], row[6], 0, row[3], 0,
        None, "",
    )  # fmt: skip


def _chunks(keys: Sequence[str]) -> Iterable[Sequence[str]]:
    return (keys[i : i + _IN_CHUNK] for i in range(0, len(keys), _IN_CHUNK))
