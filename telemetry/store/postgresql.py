"""What intake writes on PostgreSQL, in few exchanges with the server however many feeds it is of:
where many sources speak at once, waiting for answers costs more than the work.

A commit is not waited for on disk (`synchronous_commit` off, for its transaction alone). Nothing
acknowledged hangs on it: the journal was made durable before, none of it ever goes before it is
stored, and rows and cursor stand in one transaction, so that a server that loses its last
half second gives back an earlier cursor, from which the same records give the same rows. Whatever
another connection made of the lost rows is lost with them or not at all, since a later commit that
is waited for makes all before it durable.
"""

from __future__ import annotations

import hashlib
import time
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import contextmanager
from typing import Any

from django.db import IntegrityError, connection

from telemetry.decode.row_list import Rows
from telemetry.store import copy_form
from telemetry.store.rows import ARC_FIELDS, AlreadyStored, ArcRow, CursorUpdate, NewArcs

_UNIQUE_VIOLATION = "23505"
_CHANGES_LOCK = 0x6B657266  # any number, the same in every process
# Columns with what the database reads them as.
_ARC = {
    "key": "text", "feed_id": "bigint", '"table"': "text", "torch": "text", "on_us": "bigint",
    "off_us": "bigint", "ended": "text", "pierces": "integer", "first_pierce_us": "bigint",
    "program": "text", "amps": "float8", "volts": "float8", "feed_version": "integer",
    "clock_version": "integer",
}  # fmt: skip
_MOVED = dict.fromkeys(CursorUpdate._fields, "bigint") | {"lane": "text", "state": "text"}


def begin(feed_ids: Sequence[int]) -> list[tuple[int, str, int, int]]:
    ids = ", ".join(map(str, feed_ids))
    with _cursor() as cursor:
        # The cursors are read by a statement of their own: only so does it see what those wrote
        # whom the locks waited for.
        cursor.execute(
            "SET LOCAL synchronous_commit TO off; "
            f"SELECT id FROM telemetry_feed WHERE id IN ({ids}) ORDER BY id FOR UPDATE; "
            "SELECT feed_id, lane, sequence, changed_us FROM telemetry_cursor "
            f"WHERE feed_id IN ({ids})"
        )
        while cursor.nextset():
            pass
        return list(cursor.fetchall())


def add_events(every: Iterable[tuple[int, Rows]], meanwhile: Callable[[], None]) -> None:
    into = f"COPY telemetry_event ({copy_form.EVENT_COLUMNS}) FROM STDIN (FORMAT binary)"
    try:
        with _cursor() as cursor, cursor.copy(into) as copy:
            copy.write(copy_form.HEAD)
            for feed_id, rows in every:
                for part in copy_form.events(feed_id, rows):
                    copy.write(part)
            copy.write(copy_form.END)
            fault = _fault_of(meanwhile)
    except IntegrityError as error:
        if getattr(error.__cause__, "sqlstate", None) == _UNIQUE_VIOLATION:
            raise AlreadyStored from error
        raise
    if fault is not None:
        raise fault


def _fault_of(work: Callable[[], None]) -> Exception | None:
    """What working on rows ended with: no fault where they turn out not to be new."""
    try:
        work()
    except Exception as fault:
        return fault
    return None


def stored_first(feed_id: int, keys: bytes) -> int:
    with connection.cursor() as cursor:
        cursor.execute(
            "SELECT sha256(string_agg(key, '')), count(*) FROM (SELECT key FROM telemetry_event "
            "WHERE feed_id = %s AND key BETWEEN %s AND %s ORDER BY feed_id, key "
            f"LIMIT {len(keys) // 16 + 1}) AS stored",
            [feed_id, keys[:16], keys[-16:]],
        )
        digest, count = cursor.fetchone()
    is_same = count and bytes(digest) == hashlib.sha256(keys[: 16 * count]).digest()
    return int(count) if is_same else 0


def next_change() -> int:
    with _cursor() as cursor:
        cursor.execute(
            f"SELECT pg_advisory_xact_lock({_CHANGES_LOCK}); "
            f"SELECT GREATEST({time.time_ns() // 1000}, "
            "(SELECT max(changed_us) + 1 FROM telemetry_arc), "
            "(SELECT max(changed_us) + 1 FROM telemetry_gonearc))"
        )
        cursor.nextset()
        return int(cursor.fetchone()[0])


def add_arcs(rows: Sequence[ArcRow], many: Sequence[NewArcs], changed_us: int) -> None:
    into = f"COPY telemetry_arc ({copy_form.ARC_COLUMNS}) FROM STDIN (FORMAT binary)"
    with _cursor() as cursor, cursor.copy(into) as copy:
        copy.write(copy_form.HEAD)
        copy.write(b"".join([copy_form.arc(row, changed_us) for row in rows]))
        for arcs in many:
            copy.write(copy_form.new_arcs(arcs, changed_us))
        copy.write(copy_form.END)


def put_arcs(rows: Sequence[ArcRow], changed_us: int, *, ends_only: bool) -> None:
    columns = ", ".join(ARC_FIELDS)
    sets = ", ".join(f"{name} = excluded.{name}" for name in [*ARC_FIELDS[2:], "changed_us"])
    with _cursor() as cursor:
        cursor.execute(
            f"INSERT INTO telemetry_arc ({columns}, changed_us) "
            f"SELECT r.*, {changed_us} FROM {_unnested('r', _ARC)} "
            f"ON CONFLICT (key) DO UPDATE SET {sets}",
            _arrays(rows, _ARC),
        )


def move_cursors(moved: Sequence[CursorUpdate], now_us: int) -> None:
    with _cursor() as cursor:
        # GREATEST passes over what is null.
        cursor.execute(
            "UPDATE telemetry_cursor AS c SET sequence = r.sequence, segment = r.segment, "
            'byte_offset = r."offset", state = r.state::jsonb, lines = c.lines + r.lines, '
            "events = c.events + r.events, known = c.known + r.known, "
            "last_line_us = GREATEST(c.last_line_us, r.last_line_us), "
            f"changed_us = {now_us} FROM {_unnested('r', _MOVED)} "
            "WHERE c.feed_id = r.feed_id AND c.lane = r.lane",
            _arrays(moved, _MOVED),
        )


def drop_due(lanes: Sequence[tuple[int, str]]) -> None:
    with connection.cursor() as cursor:
        cursor.execute(
            "UPDATE telemetry_cursor SET state = state - 'due' WHERE "
            + " OR ".join(["feed_id = %s AND lane = %s"] * len(lanes)),
            [value for lane in lanes for value in lane],
        )


def _unnested(name: str, types: dict[str, str]) -> str:
    """Rows made of one array a column: what a server takes in most quickly."""
    arrays = ", ".join(f"%s::{kind}[]" for kind in types.values())
    columns = ", ".join('"' + column.strip('"') + '"' for column in types)
    return f"unnest({arrays}) AS {name}({columns})"


def _arrays(rows: Sequence[Sequence[Any]], types: dict[str, str]) -> list[str]:
    """The columns of rows as array texts (PostgreSQL's manual, 8.15.2)."""
    columns = zip(types.values(), zip(*rows, strict=True), strict=True)
    return [_texts(column) if kind == "text" else _numbers(column) for kind, column in columns]


def _numbers(values: Sequence[float | None]) -> str:
    return f"{{{','.join(map(repr, values))}}}".replace("None", "NULL")


def _texts(values: Sequence[str | None]) -> str:
    escaped = [
        "NULL" if value is None
        else '"' + value.replace("\\", "\\\\").replace('"', '\\"') + '"'
        for value in values
    ]  # fmt: skip
    return f"{{{','.join(escaped)}}}"


@contextmanager
def _cursor() -> Iterator[Any]:
    """The driver's own cursor, with Django's errors: Django's cursor asks first, for every
    statement, who acts. Several statements go in one text only where values are put in on this
    side."""
    from psycopg import ClientCursor  # there only where it is used

    with connection.wrap_database_errors, ClientCursor(connection.connection) as cursor:
        yield cursor
