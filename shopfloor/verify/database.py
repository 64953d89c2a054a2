"""The database as such: whole, its rows' references good, its integers integers, its triggers
there."""

from __future__ import annotations

from collections.abc import Iterator

from django.apps import apps
from django.db import connection
from django.db.models import BigIntegerField, IntegerField

from shopfloor.audit.triggers import audit_missing
from telemetry.said import said, said_of_many
from telemetry.verify.findings import Finding, listed

_EVENTS = "telemetry_event"


def check_database() -> Iterator[Finding]:
    if connection.vendor == "sqlite":
        yield from _file()
        yield from _references()
        yield from _integers()
    yield from _triggers()


def _file() -> Iterator[Finding]:
    """SQLite's own look at its tables and their indexes. Of events it says falsely (3.40) that they
    hold NULL, their key not being their first column; they are compared line by line instead."""
    faults: list[str] = []
    with connection.cursor() as cursor:
        for table in connection.introspection.table_names(cursor):
            if table != _EVENTS:
                cursor.execute(f"PRAGMA integrity_check({connection.ops.quote_name(table)})")
                faults += [str(row[0]) for row in cursor.fetchmany(3) if row[0] != "ok"]
    if faults:
        shown = listed(faults, len(faults))
        words = said("The database file is damaged: {faults}.", faults=shown)
        yield Finding("database damaged", "database", words)


def _references() -> Iterator[Finding]:
    """PostgreSQL holds to them by itself."""
    with connection.cursor() as cursor:
        cursor.execute("PRAGMA foreign_key_check")
        rows = cursor.fetchmany(1_000)
    if rows:
        pairs = [
            said("{table} names a row of {other} that is not there", table=table, other=other)
            for table, other in sorted({(table, other) for table, _, other, _ in rows})
        ]
        words = said_of_many(
            "{number} row names another that is not there: {pairs}.",
            "{number} rows name others that are not there: {pairs}.",
            len(rows),
            pairs=listed(pairs, len(pairs)),
        )
        yield Finding("references broken", "database", words)


def _integers() -> Iterator[Finding]:
    """SQLite would keep a fraction where an integer belongs: money in minor units, microseconds."""
    quote = connection.ops.quote_name
    for model in apps.get_models():
        if model._meta.app_label not in ("telemetry", "shopfloor"):
            continue
        columns = [
            str(field.column)
            for field in model._meta.concrete_fields
            if isinstance(field, (BigIntegerField, IntegerField)) and not field.primary_key
        ]
        if not columns or model._meta.db_table == _EVENTS:
            continue  # compared with their lines one by one
        odd = " + ".join(
            f"coalesce(sum(typeof({quote(c)}) NOT IN ('integer', 'null')), 0)" for c in columns
        )
        with connection.cursor() as cursor:
            cursor.execute(f"SELECT {odd} FROM {quote(model._meta.db_table)}")
            count = cursor.fetchone()[0]
        if count:
            name = model._meta.verbose_name_plural
            words = said_of_many(
                "{number} number of {name} is not a whole number.",
                "{number} numbers of {name} are not whole numbers.",
                count,
                name=name,
            )
            yield Finding("not an integer", str(name), words)


def _triggers() -> Iterator[Finding]:
    """Without its triggers a table's changes leave no trace in the audit trail."""
    tables = sorted({table for table, _ in audit_missing()})
    if tables:
        words = said_of_many(
            "Changes of {number} table are not written to the audit trail, or not as they should "
            "be: {tables}. `migrate` makes the triggers again.",
            "Changes of {number} tables are not written to the audit trail, or not as they should "
            "be: {tables}. `migrate` makes the triggers again.",
            len(tables),
            tables=listed(tables, len(tables)),
        )
        yield Finding("audit incomplete", "audit", words)
