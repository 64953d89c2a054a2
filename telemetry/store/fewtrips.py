"""A live commit on PostgreSQL in six exchanges with the server, however many feeds it is of.

Where many sources speak at once, waiting for answers costs more than the work. What is written is
what `rows`, `arcrows` and the cursor's own saving write. Errors are the driver's own.

The commit is not waited for on disk (`synchronous_commit` off, for this transaction alone). Nothing
acknowledged hangs on it: the journal was made durable before, none of it ever goes before it is
stored, and rows and cursor stand in one transaction, so that a server that loses its last
half second gives back an earlier cursor, from which the same records give the same rows. Whatever
another connection made of the lost rows is lost with them or not at all, since a later commit that
is waited for makes all before it durable.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any

from django.db import connection

from telemetry.decode.row_blocks import AnyRow
from telemetry.store.arcrows import CHANGES_LOCK, FIELDS, ArcRow
from telemetry.store.copying import TEXT_COLUMNS, as_text, escaped
from telemetry.store.moved import STRAY_COLUMNS, CursorUpdate, OpenArcMissing, Stray, stray_rows

# What changes of an arc that was open, and of a cursor, each with what the database reads it as.
_ENDS = {
    "key": "text", "off_us": "bigint", "ended": "text", "pierces": "integer",
    "first_pierce_us": "bigint", "program": "text", "amps": "float8", "volts": "float8",
    "feed_version": "integer", "clock_version": "integer",
}  # fmt: skip
_PLACES = [FIELDS.index(name) for name in _ENDS]
_MOVED = dict.fromkeys(CursorUpdate._fields, "bigint") | {"lane": "text", "state": "text"}
_STRAY = dict(
    zip(STRAY_COLUMNS.split(", "), ["bigint", "text", "bigint", "text", "text"], strict=True)
)


def begin(feed_ids: Sequence[int]) -> list[tuple[int, str, int, int]]:
    """Locks these feeds and returns their cursors: (feed_id, lane, sequence, changed_us)."""
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


def add_events(every: Iterable[tuple[int, Sequence[AnyRow]]]) -> None:
    """Events by feed id, all new; raises the driver's unique violation where one is not."""
    lines = "".join([as_text(feed_id, rows) for feed_id, rows in every])
    if not lines:
        return
    into = f"COPY telemetry_event ({TEXT_COLUMNS}) FROM STDIN"
    with _cursor() as cursor, cursor.copy(into) as copy:
        copy.write(lines)


def add_strays(strays: Sequence[Stray]) -> None:
    with _cursor() as cursor:
        cursor.execute(
            f"INSERT INTO telemetry_stray ({STRAY_COLUMNS}) SELECT * FROM {_rows('r', _STRAY)} "
            "ON CONFLICT DO NOTHING",
            _columns(stray_rows(strays)),
        )


def finish(
    known: Sequence[ArcRow], new: Sequence[ArcRow], moved: Sequence[CursorUpdate], now_us: int
) -> None:
    """Writes arcs that were open and others, each with a later `changed_us` than any before it,
    and moves the cursors. Raises OpenArcMissing."""
    with _cursor() as cursor:
        if known or new:
            changed_us = _next_change(cursor, now_us)
            _add_arcs(cursor, new, changed_us)
            _end_arcs(cursor, known, changed_us)
        cursor.execute(_cursors_sql(now_us), _columns(moved))


def _next_change(cursor: Any, now_us: int) -> int:
    cursor.execute(
        f"SELECT pg_advisory_xact_lock({CHANGES_LOCK}); SELECT GREATEST({now_us}, "
        "(SELECT max(changed_us) + 1 FROM telemetry_arc), "
        "(SELECT max(changed_us) + 1 FROM telemetry_gonearc))"
    )
    cursor.nextset()
    return int(cursor.fetchone()[0])


def _add_arcs(cursor: Any, arcs: Sequence[ArcRow], changed_us: int) -> None:
    if not arcs:
        return
    columns = ", ".join((*FIELDS, "changed_us"))
    with cursor.copy(f"COPY telemetry_arc ({columns}) FROM STDIN") as copy:
        copy.write("".join(["\t".join(map(_field, row)) + f"\t{changed_us}\n" for row in arcs]))


def _end_arcs(cursor: Any, arcs: Sequence[ArcRow], changed_us: int) -> None:
    if not arcs:
        return
    sets = ", ".join(f"{name} = r.{name}" for name in list(_ENDS)[1:])
    cursor.execute(
        f"UPDATE telemetry_arc AS a SET {sets}, changed_us = {changed_us} "
        f"FROM {_rows('r', _ENDS)} WHERE a.key = r.key",
        _columns([[row[at] for at in _PLACES] for row in arcs]),
    )
    if cursor.rowcount != len(arcs):
        raise OpenArcMissing


def _field(value: Any) -> str:
    """As COPY's text form has it."""
    if value is None:
        return "\\N"
    return escaped(value) if isinstance(value, str) else repr(value)


def _cursors_sql(now_us: int) -> str:
    # GREATEST passes over what is null.
    return (
        "UPDATE telemetry_cursor AS c SET sequence = r.sequence, segment = r.segment, "
        'byte_offset = r."offset", state = r.state::jsonb, lines = c.lines + r.lines, '
        "events = c.events + r.events, last_line_us = GREATEST(c.last_line_us, r.last_line_us), "
        f"changed_us = {now_us} FROM {_rows('r', _MOVED)} "
        "WHERE c.feed_id = r.feed_id AND c.lane = r.lane"
    )


def _rows(name: str, types: dict[str, str]) -> str:
    """Rows made of one array a column: what a server takes in most quickly."""
    arrays = ", ".join(f"%s::{kind}[]" for kind in types.values())
    return f"unnest({arrays}) AS {name}({', '.join(map(_quoted, types))})"


def _quoted(name: str) -> str:
    return f'"{name}"'


def _columns(rows: Sequence[Sequence[Any]]) -> list[str]:
    """The columns of rows as array texts (PostgreSQL's manual, 8.15.2)."""
    return [f"{{{','.join(map(_element, column))}}}" for column in zip(*rows, strict=True)]


def _element(value: Any) -> str:
    if value is None:
        return "NULL"
    if isinstance(value, str):
        value = value.replace("\\", "\\\\").replace('"', '\\"')
        return f'"{value}"'
    return repr(value)


def _cursor() -> Any:
    """The driver's own cursor: Django's asks first, for every statement, who acts. Several
    statements go in one text only where values are put in on this side."""
    from psycopg import ClientCursor  # there only where it is used

    return ClientCursor(connection.connection)
