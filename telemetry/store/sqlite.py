"""What intake writes on SQLite, by its own driver: Django's cursor would rewrite every mark and
row."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import contextmanager
from itertools import chain
from typing import Any

from django.db import IntegrityError, connection

from telemetry.decode.row_blocks import AnyRow, RowBlock
from telemetry.decode.row_list import Rows, rows_of
from telemetry.store.rows import (
    ARC_COLUMNS,
    ARC_FIELDS,
    EVENT_COLUMNS,
    AlreadyStored,
    ArcRow,
    CursorUpdate,
    NewArcs,
)

_NOT_UNIQUE = ("SQLITE_CONSTRAINT_PRIMARYKEY", "SQLITE_CONSTRAINT_UNIQUE")
_INTO_EVENTS = f"INSERT INTO telemetry_event ({EVENT_COLUMNS})"
_A_STATEMENT = 50  # rows; the oldest SQLite takes 999 values in one
# What changes of an arc that was open. To set the rest again would have SQLite write three indexes
# more.
_FIRST_END = ARC_FIELDS.index("off_us")
_ENDS = ARC_FIELDS[_FIRST_END:]


def begin(feed_ids: Sequence[int]) -> list[tuple[int, str, int, int]]:
    with connection.cursor() as cursor:  # there is one writer in all
        cursor.execute(
            "SELECT feed_id, lane, sequence, changed_us FROM telemetry_cursor "
            f"WHERE feed_id IN ({', '.join(map(str, feed_ids))})"
        )
        return list(cursor.fetchall())


def add_events(every: Iterable[tuple[int, Rows]], meanwhile: Callable[[], None]) -> None:
    few: list[tuple[Any, ...]] = []  # of many feeds, stored together
    try:
        with _raw() as raw:
            for feed_id, rows in every:
                for part in rows.parts:
                    if len(part) < _A_STATEMENT:
                        few += [(feed_id, *row) for row in rows_of(part)]
                    else:
                        _add_part(raw, feed_id, part)
            _insert_many(raw, _INTO_EVENTS, f"({', '.join('?' * 13)})", few)
    except IntegrityError as error:
        if getattr(error.__cause__, "sqlite_errorname", None) in _NOT_UNIQUE:
            raise AlreadyStored from error
        raise
    meanwhile()


def _add_part(raw: Any, feed_id: int, part: list[AnyRow] | RowBlock) -> None:
    if isinstance(part, list):
        _insert_many(raw, _INTO_EVENTS, f"({feed_id}, {', '.join('?' * 12)})", part)
        return
    # What all lines share stands in the statement: each value handed over costs a tenth of a row.
    marks = f"({feed_id}, ?, ?, ?, 0, ?, ?, ?, ?, ?, {part.received_us}, {part.feed_version}, 0)"
    _insert_many(raw, _INTO_EVENTS, marks, zip(*part.lines.columns(), strict=True))


def _insert_many(raw: Any, into: str, marks: str, every: Iterable[Sequence[Any]]) -> None:
    """Many rows a statement: beginning one costs a quarter of an insert."""
    rows = list(every)
    whole = len(rows) - len(rows) % _A_STATEMENT
    if whole:
        flat = (
            list(chain.from_iterable(rows[at : at + _A_STATEMENT]))
            for at in range(0, whole, _A_STATEMENT)
        )
        raw.executemany(f"{into} VALUES {', '.join([marks] * _A_STATEMENT)}", flat)
    if whole < len(rows):
        raw.executemany(f"{into} VALUES {marks}", rows[whole:])


def stored_first(feed_id: int, keys: bytes) -> int:
    with connection.cursor() as cursor:
        cursor.execute(
            "SELECT key FROM telemetry_event WHERE feed_id = %s AND key BETWEEN %s AND %s "
            f"ORDER BY feed_id, key LIMIT {len(keys) // 16 + 1}",
            [feed_id, keys[:16], keys[-16:]],
        )
        found = b"".join([key for (key,) in cursor.fetchall()])
    return len(found) // 16 if keys.startswith(found) else 0


def next_change() -> int:
    last_us = 0
    with connection.cursor() as cursor:
        for table in ("telemetry_arc", "telemetry_gonearc"):
            cursor.execute(f"SELECT max(changed_us) FROM {table}")
            last_us = max(last_us, cursor.fetchone()[0] or 0)
    return max(time.time_ns() // 1000, last_us + 1)


def add_arcs(rows: Sequence[ArcRow], many: Sequence[NewArcs], changed_us: int) -> None:
    into = f"INSERT INTO telemetry_arc (changed_us, {ARC_COLUMNS})"
    marks = f"({changed_us}, {', '.join('?' * len(ARC_FIELDS))})"
    with _raw() as raw:
        _insert_many(raw, into, marks, chain(rows, *(arcs.columns() for arcs in many)))


def put_arcs(rows: Sequence[ArcRow], changed_us: int, *, ends_only: bool) -> None:
    with _raw() as raw:
        if ends_only and _end_arcs(raw, rows, changed_us) == len(rows):
            return
        sets = ", ".join(f"{name} = excluded.{name}" for name in [*ARC_FIELDS[2:], "changed_us"])
        marks = ", ".join("?" * len(ARC_FIELDS))
        raw.executemany(
            f"INSERT INTO telemetry_arc ({ARC_COLUMNS}, changed_us) "
            f"VALUES ({marks}, {changed_us}) ON CONFLICT (key) DO UPDATE SET {sets}",
            rows,
        )


def _end_arcs(raw: Any, rows: Sequence[ArcRow], changed_us: int) -> int:
    """Changes what changes of an arc that was open, at half the cost of storing it again; how many
    were there."""
    sets = ", ".join(f"{name} = ?" for name in _ENDS)
    raw.executemany(
        f"UPDATE telemetry_arc SET {sets}, changed_us = {changed_us} WHERE key = ?",
        [(*row[_FIRST_END:], row.key) for row in rows],
    )
    return int(raw.rowcount)


def move_cursors(moved: Sequence[CursorUpdate], now_us: int) -> None:
    with _raw() as raw:
        raw.executemany(
            "UPDATE telemetry_cursor SET sequence = ?, segment = ?, byte_offset = ?, state = ?, "
            "lines = lines + ?, events = events + ?, known = known + ?, last_line_us = "
            f"COALESCE(max(last_line_us, ?), last_line_us, ?), changed_us = {now_us} "
            "WHERE feed_id = ? AND lane = ?",
            [(*m[2:], m.last_line_us, m.feed_id, m.lane) for m in moved],
        )


def drop_due(lanes: Sequence[tuple[int, str]]) -> None:
    with connection.cursor() as cursor:
        cursor.execute(
            "UPDATE telemetry_cursor SET state = json_remove(state, '$.due') WHERE "
            + " OR ".join(["feed_id = %s AND lane = %s"] * len(lanes)),
            [value for lane in lanes for value in lane],
        )


@contextmanager
def _raw() -> Iterator[Any]:
    """The driver's own cursor, with Django's errors."""
    with connection.wrap_database_errors, connection.cursor() as cursor:
        yield cursor.cursor
