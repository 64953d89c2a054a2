"""Bulk reading and writing over the raw connection, alike on SQLite and PostgreSQL."""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Iterable, Iterator, Sequence
from itertools import chain
from typing import Any

import numpy as np
from django.db import connection

from telemetry.decode.row_blocks import AnyRow, RowBlock
from telemetry.decode.row_list import Rows
from telemetry.events import Event
from telemetry.store import copying

_COLUMNS = copying.TEXT_COLUMNS
_IN_CHUNK = 900
_SCAN_CHUNK = 2_000
_COPY_FROM = 200
_AT_ONCE = 2_000  # rows; about what a socket holds
_A_STATEMENT = 50  # rows; the oldest SQLite takes 999 values in one
_UNIQUE_VIOLATION = "23505"


def insert_events(feed_id: int, rows: Sequence[AnyRow]) -> int:
    """Inserts what is not there yet; returns how many were."""
    if not rows:
        return 0
    with connection.cursor() as cursor:
        if connection.vendor == "sqlite":
            parts = rows.parts if isinstance(rows, Rows) else [list(rows)]
            return sum(_insert_part(cursor.cursor, feed_id, part) for part in parts)
        marks = ", ".join(["%s"] * 12)
        cursor.executemany(
            f"INSERT INTO telemetry_event ({_COLUMNS}) VALUES ({feed_id}, {marks}) "
            "ON CONFLICT DO NOTHING",
            rows,
        )
        return int(cursor.rowcount)


def _insert_part(raw: Any, feed_id: int, part: list[AnyRow] | RowBlock) -> int:
    into = f"INSERT OR IGNORE INTO telemetry_event ({_COLUMNS})"
    if isinstance(part, list):
        return insert_many(raw, into, f"({feed_id}, {', '.join('?' * 12)})", part)
    # What all lines share stands in the statement: each value handed over costs a tenth of a row.
    marks = f"({feed_id}, ?, ?, ?, 0, ?, ?, ?, ?, ?, {part.received_us}, {part.feed_version}, 0)"
    return insert_many(raw, into, marks, zip(*part.lines.columns(), strict=True))


def insert_many(raw: Any, into: str, marks: str, every: Iterable[Sequence[Any]]) -> int:
    """Inserts rows by SQLite's own driver (Django's cursor would rewrite every mark and row), many
    a statement: beginning one costs a quarter of an insert. Returns how many went in."""
    rows = list(every)
    whole = len(rows) - len(rows) % _A_STATEMENT
    count = 0
    if whole:
        flat = (
            list(chain.from_iterable(rows[at : at + _A_STATEMENT]))
            for at in range(0, whole, _A_STATEMENT)
        )
        raw.executemany(f"{into} VALUES {', '.join([marks] * _A_STATEMENT)}", flat)
        count += raw.rowcount
    if whole < len(rows):
        raw.executemany(f"{into} VALUES {marks}", rows[whole:])
        count += raw.rowcount
    return count


def insert_new(feed_id: int, rows: Rows, *, meanwhile: Callable[[], None] = lambda: None) -> bool:
    """Inserts rows that should all be new; False where one was not. Then the caller's savepoint
    must be rolled back. `meanwhile` is called once, while a server works on the rows: it must not
    ask the database, and may come to nothing."""
    if connection.vendor == "sqlite" or len(rows) < _COPY_FROM:
        if insert_events(feed_id, rows) < len(rows):
            return False
        meanwhile()
        return True
    if copying.pays(rows):
        into = f"telemetry_event ({copying.COLUMNS}) FROM STDIN (FORMAT binary)"
        parts: Iterator[bytes | str] = copying.copied(feed_id, rows)
    else:
        into = f"telemetry_event ({copying.TEXT_COLUMNS}) FROM STDIN"
        each = list(rows)
        stretches = range(0, len(each), _AT_ONCE)
        parts = (copying.as_text(feed_id, each[at : at + _AT_ONCE]) for at in stretches)
    try:
        with connection.cursor() as cursor, cursor.copy(f"COPY {into}") as copy:
            for part in parts:
                copy.write(part)
            fault = _fault_of(meanwhile)
    except Exception as error:
        # COPY raises the driver's own errors, and the driver is there only where it is used.
        if getattr(error, "sqlstate", None) == _UNIQUE_VIOLATION:
            return False
        raise
    if fault is not None:
        raise fault
    return True


def _fault_of(work: Callable[[], None]) -> Exception | None:
    """What working on rows ended with: no fault where they turn out not to be new."""
    try:
        work()
    except Exception as fault:
        return fault
    return None


def first_stored(feed_id: int, rows: Rows) -> int:
    """How many of the first rows are stored already, if it can be said at once that all others are
    not; else 0. No row may carry a tie: those tell order among stored ones."""
    keys = _keys(rows)
    if not keys:
        return 0
    has_server = connection.vendor == "postgresql"
    with connection.cursor() as cursor:
        # A server says a digest of them; where it is in this process they are at hand.
        digest = "sha256(string_agg(key, '')), count(*)" if has_server else "key"
        cursor.execute(
            f"SELECT {digest} FROM (SELECT key FROM telemetry_event WHERE "
            "feed_id = %s AND key BETWEEN %s AND %s ORDER BY feed_id, key "
            f"LIMIT {len(rows) + 1}) AS stored",
            [feed_id, keys[:16], keys[-16:]],
        )
        if not has_server:
            found = b"".join([key for (key,) in cursor.fetchall()])
            return len(found) // 16 if keys.startswith(found) else 0
        stored, count = cursor.fetchone()
    is_same = count and bytes(stored) == hashlib.sha256(keys[: 16 * count]).digest()
    return int(count) if is_same else 0


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
