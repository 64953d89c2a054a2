"""Stored events: reading them, and what is said alike on SQLite and PostgreSQL."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from typing import Any

import numpy as np
from django.db import connection

from telemetry.decode.row_blocks import AnyRow
from telemetry.decode.row_list import Rows
from telemetry.events import Event
from telemetry.store.rows import EVENT_COLUMNS
from telemetry.store.sql import sql

_IN_CHUNK = 900
_SCAN_CHUNK = 2_000


def add_missing(feed_id: int, rows: Sequence[AnyRow]) -> None:
    """Stores events that are not there yet."""
    marks = ", ".join(["%s"] * 13)
    with connection.cursor() as cursor:
        cursor.executemany(
            f"INSERT INTO telemetry_event ({EVENT_COLUMNS}) VALUES ({marks}) "
            "ON CONFLICT DO NOTHING",
            [(feed_id, *row) for row in rows],
        )


def first_stored(feed_id: int, rows: Rows) -> int:
    """How many of the first rows are stored already, if it can be said at once that all others are
    not; else 0. No row may carry a tie: those tell order among stored ones."""
    keys = _keys(rows)
    return sql().stored_first(feed_id, keys) if keys else 0


def _keys(rows: Rows) -> bytes:
    """The keys of rows one behind the other, where each is above the one before and none of the
    rows carries a tie; else nothing."""
    found = []
    for part in rows.parts:
        if isinstance(part, list):
            if any(row[3] for row in part):
                return b""
            found.append(b"".join([row[0] for row in part]))
        else:
            found.append(part.lines.keys.tobytes())
    keys = b"".join(found)
    high, low = np.frombuffer(keys, ">u8").reshape(-1, 2).T
    rises = (high[1:] > high[:-1]) | ((high[1:] == high[:-1]) & (low[1:] > low[:-1]))
    return keys if bool(rises.all()) else b""


def stored_ties(feed_id: int, keys: Sequence[bytes]) -> dict[bytes, tuple[int, int]]:
    """Of these keys, those already stored: key -> (tie, at_us)."""
    found: dict[bytes, tuple[int, int]] = {}
    keys = sorted(keys)
    with connection.cursor() as cursor:
        for at in range(0, len(keys), _SCAN_CHUNK):
            some = keys[at : at + _SCAN_CHUNK]
            if len(some) < _IN_CHUNK or not _scan(cursor, feed_id, some, found):
                _look_up(cursor, feed_id, some, found)
    return found


def _scan(
    cursor: Any, feed_id: int, keys: Sequence[bytes], found: dict[bytes, tuple[int, int]]
) -> bool:
    """Reads the stretch of the table the keys lie in; False where it holds too much else."""
    most = 2 * len(keys)
    cursor.execute(
        "SELECT key, tie, at_us FROM telemetry_event "
        f"WHERE feed_id = %s AND key BETWEEN %s AND %s ORDER BY feed_id, key LIMIT {most + 1}",
        [feed_id, keys[0], keys[-1]],
    )
    rows = cursor.fetchall()
    if len(rows) > most:
        return False
    wanted = set(keys)
    found.update((key, (tie, at_us)) for key, tie, at_us in rows if key in wanted)
    return True


def _look_up(
    cursor: Any, feed_id: int, keys: Sequence[bytes], found: dict[bytes, tuple[int, int]]
) -> None:
    for at in range(0, len(keys), _IN_CHUNK):
        some = keys[at : at + _IN_CHUNK]
        marks = ", ".join(["%s"] * len(some))
        cursor.execute(
            f"SELECT key, tie, at_us FROM telemetry_event WHERE feed_id = %s AND key IN ({marks})",
            [feed_id, *some],
        )
        found.update((bytes(key), (tie, at_us)) for key, tie, at_us in cursor.fetchall())


def raise_ties(feed_id: int, ties: dict[bytes, int]) -> None:
    """Moves stored events behind others of their instant, as a fuller source gave them."""
    with connection.cursor() as cursor:
        cursor.executemany(
            "UPDATE telemetry_event SET tie = %s WHERE feed_id = %s AND key = %s",
            [(tie, feed_id, key) for key, tie in ties.items()],
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
