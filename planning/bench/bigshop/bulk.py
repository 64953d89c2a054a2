"""Rows into a table by the quickest way each database has, its rules not asked for each row."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from contextlib import contextmanager
from itertools import islice
from typing import Any

from django.core.management.color import no_style
from django.db import connection, models

from planning.bench.bigshop.sorts import BY_TABLE, BY_TIME, ONCE, model
from shopfloor.audit.triggers import audit_drop, audit_sync

_AT_ONCE = 20_000


@contextmanager
def filling() -> Iterator[None]:
    """Nothing is audited or made durable meanwhile: the whole is thrown away if it breaks off."""
    audit_drop()
    connection.ensure_connection()
    with connection.cursor() as cursor:
        if connection.vendor == "sqlite":
            cursor.execute("PRAGMA foreign_keys = OFF")
            cursor.execute("PRAGMA journal_mode = OFF")
            cursor.execute("PRAGMA synchronous = OFF")
            cursor.execute("PRAGMA cache_size = -1000000")
            yield
        else:
            cursor.execute("SET session_replication_role = replica")  # keys are not looked up
            cursor.execute("SET synchronous_commit = off")
            yield
            _sequences()
    connection.close()
    with connection.cursor() as cursor:
        cursor.execute("ANALYZE")
    audit_sync()


def insert(kind: type[models.Model], rows: Iterable[Sequence[Any]]) -> int:
    """How many rows were written; values stand in the order of the model's columns."""
    columns = ", ".join(f'"{field.column}"' for field in kind._meta.concrete_fields)
    table = f'"{kind._meta.db_table}" ({columns})'
    return _copy(table, rows) if connection.vendor == "postgresql" else _many(table, kind, rows)


def _many(table: str, kind: type[models.Model], rows: Iterable[Sequence[Any]]) -> int:
    raw: Any = connection.connection
    marks = ", ".join("?" * len(kind._meta.concrete_fields))
    waiting, count = iter(rows), 0
    raw.execute("BEGIN")
    while some := list(islice(waiting, _AT_ONCE)):
        raw.executemany(f"INSERT INTO {table} VALUES ({marks})", some)
        count += len(some)
    raw.execute("COMMIT")
    return count


def _copy(table: str, rows: Iterable[Sequence[Any]]) -> int:
    count = 0
    with connection.cursor() as cursor, cursor.copy(f"COPY {table} FROM STDIN") as copy:
        for row in rows:
            copy.write_row(row)
            count += 1
    return count


def _sequences() -> None:
    kinds = [model(label) for label in (*BY_TABLE, *BY_TIME, *ONCE, "shopfloor.User")]
    with connection.cursor() as cursor:
        for statement in connection.ops.sequence_reset_sql(no_style(), kinds):
            cursor.execute(statement)
