"""The references: what the database alone takes, rows made beforehand, nothing checked."""

from __future__ import annotations

import gc
import sqlite3
import time
from typing import Any

from django.db import connection, transaction

from telemetry.bench.apart import scratch
from telemetry.models import Event

_COLUMNS = (
    "feed_id bigint NOT NULL, key {blob} NOT NULL, at_us bigint NOT NULL, seq bigint NOT NULL, "
    "tie integer NOT NULL, torch varchar(20) NOT NULL, kind smallint NOT NULL, number {real}, "
    "text varchar(200), stamp varchar(64) NOT NULL, received_us bigint NOT NULL, "
    "feed_version integer NOT NULL, clock_version integer NOT NULL, PRIMARY KEY (feed_id, key)"
)
Row = tuple[Any, ...]


def base(rows: list[Row]) -> tuple[float, float]:
    """(seconds, CPU seconds) of the same rows into a keyed table and nothing else: on SQLite one
    `executemany INSERT OR IGNORE` in one transaction, on PostgreSQL one COPY."""
    gc.collect()
    gc.disable()
    try:
        return _copy(rows) if connection.vendor == "postgresql" else _executemany(rows)
    finally:
        gc.enable()


def lean_base(rows: list[Row]) -> tuple[float, float]:
    """SQLite only: five integer columns under an integer key, the least a line could be."""
    lean = [(row[0], row[3], row[2], row[6], row[7]) for row in rows]
    columns = (
        "feed_id integer, seq integer, at_us integer, kind integer, number real, "
        "PRIMARY KEY (feed_id, seq, at_us)"
    )
    return _executemany(lean, columns)


def _executemany(rows: list[Row], columns: str = "") -> tuple[float, float]:
    path = scratch("base.sqlite3")
    for end in ("", "-wal", "-shm"):
        path.with_name(path.name + end).unlink(missing_ok=True)
    raw = sqlite3.connect(path, isolation_level=None)
    for pragma in ("journal_mode = WAL", "synchronous = FULL", "cache_size = -131072"):
        raw.execute(f"PRAGMA {pragma}")
    columns = columns or _COLUMNS.format(blob="blob", real="real")
    raw.execute(f"CREATE TABLE base ({columns}) WITHOUT ROWID")
    marks = ", ".join("?" * len(rows[0]))
    began, worked = time.perf_counter(), time.process_time()
    raw.execute("BEGIN IMMEDIATE")
    raw.executemany(f"INSERT OR IGNORE INTO base VALUES ({marks})", rows)
    raw.execute("COMMIT")
    took = time.perf_counter() - began, time.process_time() - worked
    _check(raw.execute("SELECT count(*) FROM base").fetchone()[0], len(rows))
    raw.close()
    return took


def _copy(rows: list[Row]) -> tuple[float, float]:
    with connection.cursor() as cursor:
        cursor.execute("DROP TABLE IF EXISTS base")
        columns = _COLUMNS.format(blob="bytea", real="double precision")
        cursor.execute(f"CREATE TABLE base ({columns})")
        cursor.execute("CHECKPOINT")
        lines = []
        for row in rows:
            values = ["\\N" if value is None else str(value) for value in row]
            values[1] = "\\\\x" + row[1].hex()
            lines.append("\t".join(values))
        text = "\n".join(lines).encode() + b"\n"
        began, worked = time.perf_counter(), time.process_time()
        with cursor.copy("COPY base FROM STDIN") as copy:
            for at in range(0, len(text), 1 << 16):
                copy.write(text[at : at + (1 << 16)])
        took = time.perf_counter() - began, time.process_time() - worked
        cursor.execute("SELECT count(*) FROM base")
        _check(cursor.fetchone()[0], len(rows))
        cursor.execute("DROP TABLE base")
    return took


def bulk_create(rows: list[Row]) -> tuple[float, float]:
    """Django's own way for the events alone, into the real table. Leaves it empty."""
    names = [field.attname for field in Event._meta.local_concrete_fields]
    began, worked = time.perf_counter(), time.process_time()
    with transaction.atomic():
        for at in range(0, len(rows), 50_000):
            some = [Event(**dict(zip(names, row, strict=True))) for row in rows[at : at + 50_000]]
            Event.objects.bulk_create(some, batch_size=2_000, ignore_conflicts=True)
    took = time.perf_counter() - began, time.process_time() - worked
    _check(Event.objects.count(), len(rows))
    Event.objects.all()._raw_delete("default")
    return took


def _check(found: int, expected: int) -> None:
    if found != expected:
        raise AssertionError(f"{found} rows, not {expected}")
