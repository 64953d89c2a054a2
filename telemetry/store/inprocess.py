"""A live commit on SQLite, written by its own driver. Errors are the driver's own."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any

from django.db import connection

from telemetry.decode.row_blocks import AnyRow
from telemetry.store.arcrows import FIELDS, ArcRow, latest_change
from telemetry.store.copying import TEXT_COLUMNS
from telemetry.store.moved import STRAY_COLUMNS, CursorUpdate, OpenArcMissing, Stray, stray_rows
from telemetry.store.rows import insert_many

# What changes of an arc that was open. The rest stays as it is, and to set it again would have
# SQLite write three indexes more.
_ENDS = (
    "off_us", "ended", "pierces", "first_pierce_us", "program", "amps", "volts", "feed_version",
    "clock_version",
)  # fmt: skip
_END_PLACES = [FIELDS.index(name) for name in _ENDS]


def begin(feed_ids: Sequence[int]) -> list[tuple[int, str, int, int]]:
    """The cursors of these feeds: (feed_id, lane, sequence, changed_us). SQLite has one writer."""
    with connection.cursor() as cursor:
        cursor.execute(
            "SELECT feed_id, lane, sequence, changed_us FROM telemetry_cursor "
            f"WHERE feed_id IN ({', '.join(map(str, feed_ids))})"
        )
        return list(cursor.fetchall())


def add_events(every: Iterable[tuple[int, Sequence[AnyRow]]]) -> None:
    """Events by feed id, all new; raises the driver's IntegrityError where one is not."""
    rows = [(feed_id, *row) for feed_id, some in every for row in some]
    with connection.cursor() as cursor:
        into = f"INSERT INTO telemetry_event ({TEXT_COLUMNS})"
        insert_many(cursor.cursor, into, f"({', '.join('?' * 13)})", rows)


def add_strays(strays: Sequence[Stray]) -> None:
    with connection.cursor() as cursor:
        into = f"INSERT OR IGNORE INTO telemetry_stray ({STRAY_COLUMNS})"
        insert_many(cursor.cursor, into, "(?, ?, ?, ?, ?)", stray_rows(strays))


def finish(
    known: Sequence[ArcRow], new: Sequence[ArcRow], moved: Sequence[CursorUpdate], now_us: int
) -> None:
    """Writes arcs that were open and others, each with a later `changed_us` than any before it,
    and moves the cursors. Raises OpenArcMissing."""
    with connection.cursor() as cursor:
        raw = cursor.cursor
        if known or new:
            changed_us = max(now_us, latest_change(raw) + 1)
            _update(raw, known, changed_us)
            into = f"INSERT INTO telemetry_arc ({', '.join(FIELDS)}, changed_us)"
            marks = f"({', '.join('?' * (len(FIELDS) + 1))})"
            insert_many(raw, into, marks, [(*row, changed_us) for row in new])
        _advance(raw, moved, now_us)


def _update(raw: Any, arcs: Sequence[ArcRow], changed_us: int) -> None:
    if not arcs:
        return
    sets = ", ".join(f"{name} = ?" for name in (*_ENDS, "changed_us"))
    raw.executemany(
        f"UPDATE telemetry_arc SET {sets} WHERE key = ?",
        [(*[row[at] for at in _END_PLACES], changed_us, row.key) for row in arcs],
    )
    if raw.rowcount != len(arcs):
        raise OpenArcMissing


def _advance(raw: Any, every: Sequence[CursorUpdate], now_us: int) -> None:
    raw.executemany(
        "UPDATE telemetry_cursor SET sequence = ?, segment = ?, byte_offset = ?, "
        "state = ?, lines = lines + ?, events = events + ?, last_line_us = CASE "
        "WHEN last_line_us IS NULL OR last_line_us < ? THEN COALESCE(?, last_line_us) "
        "ELSE COALESCE(last_line_us, ?) END, changed_us = ? "
        "WHERE feed_id = ? AND lane = ?",
        [
            (
                m.sequence, m.segment, m.offset, m.state, m.lines, m.events, m.last_line_us,
                m.last_line_us, m.last_line_us, now_us, m.feed_id, m.lane,
            )
            for m in every
        ],
    )  # fmt: skip
