"""Every table of a shop on SQLite into an empty PostgreSQL database, and the proof that all of it
is there."""

from __future__ import annotations

import io
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any
from urllib.parse import unquote

import environ
from django.apps import apps
from django.conf import settings
from django.db import connection, connections
from django.db.migrations.executor import MigrationExecutor
from django.db.models import JSONField

from shopfloor.audit.triggers import audit_drop, audit_sync
from shopfloor.backup.copytext import lines, values
from shopfloor.backup.restore import alone
from shopfloor.backup.snapshot import Snapshot, snapshot
from shopfloor.backup.tables import Table, tables_of
from shopfloor.backup.target import occupied
from shopfloor.moving.canon import Digest, keepable, meant
from shopfloor.people.security import security_event
from telemetry.errors import TelemetryError

Say = Callable[[str], None]


class MoveError(TelemetryError):
    """The shop cannot be moved; nothing was changed where it is."""


@dataclass(frozen=True, slots=True)
class Moved:
    """One table: its rows, the checksum both databases agree in, texts changed to be keepable."""

    table: str
    rows: int
    checksum: str
    changed: int


def move(url: str, say: Say = lambda line: None) -> list[Moved]:
    """Moves the shop of the settings to the database of `url`. Raises MoveError. Cut short or
    refused, the target is left without a row and the source as it was."""
    if connection.vendor != "sqlite":
        raise MoveError("the shop in use is not on SQLite: it has moved already")
    config = _config(url)
    with alone(Path(settings.DATA_DIR)), snapshot() as source:
        applied = source.migrations()
        tables = tables_of(applied)
        with _as_default(config):
            _prepare(applied)
            try:
                done = _fill(source, tables, say)
                text = f"moved to PostgreSQL database {config['NAME']}"
                security_event("exported", text=text, by="command movedb")
                return done
            finally:
                audit_sync()


def _config(url: str) -> dict[str, Any]:
    config: dict[str, Any] = environ.Env.db_url_config(url)
    if "postgresql" not in str(config.get("ENGINE")):
        raise MoveError("--to: a PostgreSQL address is wanted, such as postgres://USER@HOST/NAME")
    config["HOST"] = unquote(config.get("HOST", ""))
    return config


@contextmanager
def _as_default(config: dict[str, Any]) -> Iterator[None]:
    """Migrations, triggers and models see the target as the default database."""
    former = connections["default"]
    handler = type(connections)({"default": config})
    connections["default"] = handler["default"]
    try:
        connections["default"].ensure_connection()
        yield
    finally:
        connections["default"].close()
        connections["default"] = former


def _prepare(applied: list[tuple[str, str]]) -> None:
    """An empty target of the source's own version."""
    executor = MigrationExecutor(connection)
    ours = set(executor.loader.disk_migrations)
    behind = sorted(ours - set(applied))
    if behind or set(applied) - ours:
        one = ".".join((behind or sorted(set(applied) - ours))[0])
        raise MoveError(f"the shop is not at this program's version ({one}): run `migrate` first")
    there = set(executor.loader.applied_migrations)
    if there and there != ours:
        raise MoveError("the target is at another version: give an empty database")
    if table := occupied():
        raise MoveError(f"the target is not empty: {table} holds rows; nothing was changed")
    if not there:
        executor.migrate(executor.loader.graph.leaf_nodes())


def _fill(source: Snapshot, tables: list[Table], say: Say) -> list[Moved]:
    audit_drop()  # the trail comes along as it is, and gets no row of the move
    raw: Any = connection.connection
    done: list[Moved] = []
    try:
        with raw.transaction(), raw.cursor() as cursor:
            cursor.execute(f"TRUNCATE {', '.join(_quoted(table) for table in tables)}")
            for table in tables:
                done.append(_table(source, raw, table))
                say(f"{table.name}: {done[-1].rows:,} rows")
                if table.serial:
                    cursor.execute(
                        "SELECT setval(pg_get_serial_sequence(%s, %s), %s, false)",
                        [_quoted(table), table.serial, source.next_id(table)],
                    )
            cursor.execute("SET CONSTRAINTS ALL IMMEDIATE")  # what rows refer to is there
        with raw.cursor() as cursor:
            cursor.execute("ANALYZE")
    except raw.Error as problem:
        where = " ".join(str(part) for part in (problem, problem.diag.context) if part)
        raise MoveError(f"the target refused rows: {' '.join(where.split())}") from problem
    return done


def _table(source: Snapshot, raw: Any, table: Table) -> Moved:
    """Copies one table and reads it back, within the transaction."""
    kinds, columns = table.kinds, _json_columns(table)
    sent, changed = Digest(), 0
    with raw.cursor() as cursor:
        statement = f"COPY {_quoted(table)} ({table.quoted}) FROM STDIN"
        with cursor.copy(statement) as copy:

            def write(text: bytes) -> None:
                nonlocal changed
                rows = []
                for row in values(_lines(text), kinds):
                    kept, more = keepable(row, columns)
                    changed += more
                    sent.add(meant(kept, columns))
                    rows.append(kept)
                copy.write("".join(lines(rows, kinds)).encode())

            source.copy(table, write)
        found = _read_back(cursor, table, columns)
    if (sent.rows, sent.checksum) != (found.rows, found.checksum):
        raise MoveError(
            f"{table.name}: {found.rows} rows arrived of {sent.rows}, or not all as they were"
        )
    return Moved(table.name, found.rows, found.checksum, changed)


def _read_back(cursor: Any, table: Table, columns: list[int]) -> Digest:
    found, rest = Digest(), b""
    for setting in ("datestyle = 'ISO, YMD'", "timezone = 'UTC'", "bytea_output = 'hex'"):
        cursor.execute(f"SET LOCAL {setting}")
    with cursor.copy(f"COPY {_quoted(table)} ({table.quoted}) TO STDOUT") as out:
        for block in out:
            whole, end, rest = (rest + bytes(block)).rpartition(b"\n")
            for row in values(_lines(whole + end), table.kinds):
                found.add(meant(row, columns))
    return found


def _lines(text: bytes) -> Iterator[bytes]:
    """`text` by its line ends alone; `\\r` and others stand for themselves within a field."""
    return iter(io.BytesIO(text))


def _quoted(table: Table) -> str:
    return f'"{table.name}"'


def _json_columns(table: Table) -> list[int]:
    """Places of the columns that hold JSON."""
    model = next(
        model
        for model in apps.get_models(include_auto_created=True)
        if model._meta.db_table == table.name
    )
    json = {str(f.column) for f in model._meta.concrete_fields if isinstance(f, JSONField)}
    return [at for at, column in enumerate(table.columns) if column.name in json]
