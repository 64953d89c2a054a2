"""Rows of a backup into the empty database that its migrations made. No trigger is there yet, so
the audit trail comes back as it was and gets no row of the restore."""

from __future__ import annotations

import io
import sqlite3
from collections.abc import Callable, Mapping, Sequence
from typing import IO, Any

from django.db import Error as DatabaseError
from django.db import connection, transaction

from shopfloor.backup.archive import PIECE, BackupError
from shopfloor.backup.copytext import values
from shopfloor.backup.tables import Table

_CACHE_KIB = 64 * 1024
Open = Callable[[Table], IO[bytes]]


def load(tables: Sequence[Table], open_rows: Open, next_ids: Mapping[str, int]) -> None:
    """Fills the default database, within `target.staged`. Raises BackupError naming the table."""
    if connection.vendor == "sqlite":
        name = str(connection.settings_dict["NAME"])
        connection.close()
        _sqlite(name, tables, open_rows, next_ids)
    else:
        _postgresql(tables, open_rows, next_ids)


def _sqlite(
    name: str, tables: Sequence[Table], open_rows: Open, next_ids: Mapping[str, int]
) -> None:
    """Nobody else has this file and a failed one is thrown away, so it needs no log of its own.
    Indexes are made once the rows are there, which is several times faster."""
    raw = sqlite3.connect(name, isolation_level=None)
    try:
        for pragma in ("journal_mode = OFF", "synchronous = OFF", "foreign_keys = OFF"):
            raw.execute(f"PRAGMA {pragma}")
        raw.execute(f"PRAGMA cache_size = -{_CACHE_KIB}")
        raw.execute("BEGIN")
        indexes = raw.execute(
            "SELECT name, sql FROM sqlite_master WHERE type = 'index' AND sql IS NOT NULL"
        ).fetchall()
        for index, _ in indexes:
            raw.execute(f'DROP INDEX "{index}"')
        for table in tables:
            _sqlite_table(raw, table, open_rows)
        for _, sql in indexes:
            raw.execute(sql)
        _sqlite_numbers(raw, tables, next_ids)
        raw.execute("COMMIT")
        if broken := raw.execute("PRAGMA foreign_key_check").fetchone():
            raise BackupError(f"{broken[0]}: a row refers to one of {broken[2]} that is not there")
        raw.execute("PRAGMA journal_mode = WAL")
    except sqlite3.Error as problem:
        raise BackupError(f"the rows cannot be stored: {problem}") from problem
    finally:
        raw.close()


def _sqlite_table(raw: sqlite3.Connection, table: Table, open_rows: Open) -> None:
    marks = ", ".join("?" * len(table.columns))
    raw.execute(f'DELETE FROM "{table.name}"')  # noqa: S608 - what migrations put there
    into = f'INSERT INTO "{table.name}" ({table.quoted}) VALUES ({marks})'  # noqa: S608
    try:
        with open_rows(table) as source:
            lines = io.BufferedReader(source, PIECE)  # type: ignore[type-var]
            raw.executemany(into, values(lines, table.kinds))
    except (sqlite3.Error, ValueError) as problem:
        raise BackupError(f"tables/{table.name}.copy: {problem}") from problem


def _sqlite_numbers(
    raw: sqlite3.Connection, tables: Sequence[Table], next_ids: Mapping[str, int]
) -> None:
    raw.execute("DELETE FROM sqlite_sequence")
    for table in tables:
        if table.serial and next_ids[table.name] > 1:
            row = [table.name, next_ids[table.name] - 1]
            raw.execute("INSERT INTO sqlite_sequence (name, seq) VALUES (?, ?)", row)


def _postgresql(tables: Sequence[Table], open_rows: Open, next_ids: Mapping[str, int]) -> None:
    """One transaction; what rows refer to is looked at when it ends."""
    try:
        with transaction.atomic(), connection.cursor() as cursor:
            names = ", ".join(f'"{table.name}"' for table in tables)
            cursor.execute(f"TRUNCATE {names}")
            for table in tables:
                _postgresql_table(table, open_rows)
                if table.serial:
                    cursor.execute(
                        "SELECT setval(pg_get_serial_sequence(%s, %s), %s, false)",
                        [f'"{table.name}"', table.serial, next_ids[table.name]],
                    )
    except DatabaseError as problem:
        raise BackupError(f"the rows cannot be stored: {problem}") from problem


def _postgresql_table(table: Table, open_rows: Open) -> None:
    raw: Any = connection.connection
    with raw.cursor() as cursor, open_rows(table) as source:
        try:
            with cursor.copy(f'COPY "{table.name}" ({table.quoted}) FROM STDIN') as copy:
                while piece := source.read(PIECE):
                    copy.write(piece)
        except raw.Error as problem:
            raise BackupError(f"tables/{table.name}.copy: {problem}") from problem
