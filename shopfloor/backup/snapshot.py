"""A database as it was at one instant, read while others go on writing."""

from __future__ import annotations

import sqlite3
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from itertools import islice
from pathlib import Path
from typing import Any

from django.db import connection

from shopfloor.backup.archive import BackupError
from shopfloor.backup.copytext import lines
from shopfloor.backup.tables import Table

_ROWS = 2000  # of SQLite held at a time
Write = Callable[[bytes], object]


class Snapshot:
    """Reads within one transaction that was begun with it."""

    vendor = ""

    def query(self, sql: str) -> list[tuple[Any, ...]]:
        raise NotImplementedError

    def copy(self, table: Table, write: Write) -> int:
        """Gives the table's rows as text to `write`, a piece at a time; how many they were."""
        raise NotImplementedError

    def next_id(self, table: Table) -> int:
        """The number the database would give the next row."""
        raise NotImplementedError

    def migrations(self) -> list[tuple[str, str]]:
        return [
            (str(app), str(name))
            for app, name in self.query("SELECT app, name FROM django_migrations ORDER BY id")
        ]


class _Sqlite(Snapshot):
    vendor = "sqlite"

    def __init__(self, raw: sqlite3.Connection) -> None:
        self._raw = raw

    def query(self, sql: str) -> list[tuple[Any, ...]]:
        return self._raw.execute(sql).fetchall()

    def copy(self, table: Table, write: Write) -> int:
        rows = self._raw.execute(f'SELECT {table.quoted} FROM "{table.name}"')  # noqa: S608
        count, text = 0, lines(iter(rows), table.kinds)
        while some := list(islice(text, _ROWS)):
            write("".join(some).encode("utf-8"))
            count += len(some)
        return count

    def next_id(self, table: Table) -> int:
        found = self._raw.execute("SELECT seq FROM sqlite_sequence WHERE name = ?", [table.name])
        row = found.fetchone()
        return int(row[0]) + 1 if row else 1


class _Postgresql(Snapshot):
    vendor = "postgresql"

    def __init__(self, raw: Any) -> None:
        self._raw = raw

    def query(self, sql: str) -> list[tuple[Any, ...]]:
        with self._raw.cursor() as cursor:
            return list(cursor.execute(sql).fetchall())

    def copy(self, table: Table, write: Write) -> int:
        count = 0
        with (
            self._raw.cursor() as cursor,
            cursor.copy(f'COPY "{table.name}" ({table.quoted}) TO STDOUT') as out,
        ):
            for block in out:
                count += bytes(block).count(b"\n")
                write(bytes(block))
        return count

    def next_id(self, table: Table) -> int:
        named = f"pg_get_serial_sequence('\"{table.name}\"', '{table.serial}')"
        ((name,),) = self.query(f"SELECT {named}")
        ((last, called),) = self.query(f"SELECT last_value, is_called FROM {name}")  # noqa: S608
        return int(last) + (1 if called else 0)


@contextmanager
def snapshot() -> Iterator[Snapshot]:
    """Of the database in the settings. Raises BackupError where there is none."""
    if connection.vendor == "sqlite":
        with _sqlite(str(connection.settings_dict["NAME"])) as found:
            yield found
    else:
        with _postgresql() as found:
            yield found


@contextmanager
def _sqlite(name: str) -> Iterator[Snapshot]:
    """Intake and pages go on writing: the write-ahead log grows until this ends."""
    if not Path(name).is_file():
        raise BackupError(f"{name}: there is no database to back up")
    raw = sqlite3.connect(name, timeout=20, isolation_level=None)
    try:
        raw.execute("PRAGMA query_only = ON")
        raw.execute("BEGIN")
        yield _made(_Sqlite(raw), name)
    finally:
        raw.close()


@contextmanager
def _postgresql() -> Iterator[Snapshot]:
    fresh = connection.copy()
    try:
        fresh.connect()
        raw: Any = fresh.connection
        with raw.cursor() as cursor:
            cursor.execute("BEGIN ISOLATION LEVEL REPEATABLE READ READ ONLY")
            for setting in ("datestyle = 'ISO, YMD'", "timezone = 'UTC'", "bytea_output = 'hex'"):
                cursor.execute(f"SET LOCAL {setting}")
        with fresh.wrap_database_errors:
            yield _made(_Postgresql(raw), str(fresh.settings_dict["NAME"]))
    finally:
        fresh.close()


def _made(found: Snapshot, name: str) -> Snapshot:
    """Looks once, which is when the snapshot is taken."""
    try:
        applied = found.migrations()
    except Exception as problem:  # each database's library has its own class for a missing table
        raise BackupError(f"{name}: there is no shop to back up ({problem})") from problem
    if not applied:
        raise BackupError(f"{name}: there is no shop to back up")
    return found
