"""A live commit on PostgreSQL in four exchanges with the server, where a statement each takes ten.

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

import json
from collections.abc import Iterable, Sequence
from typing import Any, NamedTuple

from django.db import connection

from telemetry.packed import AnyRow
from telemetry.store.arcrows import CHANGES_LOCK, FIELDS, ArcRow
from telemetry.store.copying import TEXT_COLUMNS, as_text

# What the database must read each field of an `ArcRow` as.
_TYPES = (
    "text", "bigint", "text", "text", "bigint", "bigint", "text", "integer", "bigint", "text",
    "float8", "float8", "integer", "integer",
)  # fmt: skip
_ARC = dict(zip(FIELDS, _TYPES, strict=True))
_NAMES = [name.strip('"') for name in _ARC]


class Moved(NamedTuple):
    """Where a lane's cursor goes. `state` is JSON text."""

    feed_id: int
    lane: str
    sequence: int
    segment: int
    offset: int
    state: str
    lines: int
    events: int
    last_line_us: int | None


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


def copy_events(every: Iterable[tuple[int, Sequence[AnyRow]]]) -> None:
    """Events by feed id, all new; raises the driver's unique violation where one is not."""
    lines = "".join([as_text(feed_id, rows) for feed_id, rows in every])
    if not lines:
        return
    into = f"COPY telemetry_event ({TEXT_COLUMNS}) FROM STDIN"
    with _cursor() as cursor, cursor.copy(into) as copy:
        copy.write(lines)


def finish(arcs: Sequence[ArcRow], moved: Sequence[Moved], now_us: int) -> None:
    """Writes arcs, each with a later `changed_us` than any before it, and moves the cursors."""
    wanted = []
    with _cursor() as cursor:
        args: list[Any] = []
        if arcs:
            wanted += [f"SELECT pg_advisory_xact_lock({CHANGES_LOCK})", _arcs_sql(now_us)]
            args.append(json.dumps([dict(zip(_NAMES, row, strict=True)) for row in arcs]))
        wanted.append(_cursors_sql(now_us))
        args.append(f"[{', '.join(map(_as_json, moved))}]")
        cursor.execute("; ".join(wanted), args)


def _arcs_sql(now_us: int) -> str:
    names = ", ".join(_ARC)
    typed = ", ".join(f"{name} {kind}" for name, kind in _ARC.items())
    latest = [
        f"(SELECT COALESCE(max(changed_us), 0) + 1 FROM {table})"
        for table in ("telemetry_arc", "telemetry_gonearc")
    ]
    changes = [name for name in [*_ARC, "changed_us"] if name not in ("key", "feed_id")]
    update = ", ".join(f"{name} = excluded.{name}" for name in changes)
    return (
        f"INSERT INTO telemetry_arc ({names}, changed_us) "
        f"SELECT {names}, GREATEST({now_us}, {', '.join(latest)}) "
        f"FROM json_to_recordset(%s::json) AS r({typed}) ON CONFLICT (key) DO UPDATE SET {update}"
    )


def _cursors_sql(now_us: int) -> str:
    # GREATEST passes over what is null.
    return (
        "UPDATE telemetry_cursor AS c SET sequence = r.sequence, segment = r.segment, "
        'byte_offset = r."offset", state = r.state, lines = c.lines + r.lines, '
        "events = c.events + r.events, "
        "last_line_us = GREATEST(c.last_line_us, r.last_line_us), "
        f"changed_us = {now_us} FROM json_to_recordset(%s::json) AS r(feed_id bigint, lane text, "
        'sequence bigint, segment bigint, "offset" bigint, state jsonb, lines bigint, '
        "events bigint, last_line_us bigint) WHERE c.feed_id = r.feed_id AND c.lane = r.lane"
    )


def _as_json(moved: Moved) -> str:
    rest = json.dumps({**moved._asdict(), "state": 0})
    return rest.replace('"state": 0', f'"state": {moved.state}', 1)


def _cursor() -> Any:
    """The driver's own cursor: Django's asks first, for every statement, who acts. Several
    statements go in one text only where values are put in on this side."""
    from psycopg import ClientCursor  # there only where it is used

    return ClientCursor(connection.connection)
