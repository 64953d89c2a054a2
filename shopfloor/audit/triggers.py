"""Bringing the database's triggers in line with the models, and taking them away for migrations."""

from __future__ import annotations

from typing import Any

from django.core.management import CommandError
from django.db import connections
from django.db.backends.base.base import BaseDatabaseWrapper

from shopfloor.audit import kept, postgresql, sqlite
from shopfloor.audit.coverage import audited, audited_models
from telemetry.database import NotReady, refuse_half_restored


def audit_sync(*, using: str = "default") -> int:
    """Makes what is missing, drops what is stale. Returns how many triggers were touched. Does
    nothing on a database whose tables are not all there yet."""
    connection = connections[using]
    there = set(connection.introspection.table_names())
    if not {kept.TABLE, *(audited(model).table for model in audited_models())} <= there:
        return 0
    wanted, stale, absent = _state(connection)
    missing = [wanted[key] for key in absent]
    with connection.cursor() as cursor:
        if connection.vendor == "postgresql":
            cursor.execute(postgresql.FUNCTION)
            cursor.execute(kept.FUNCTION)
        for table, name in stale:
            cursor.execute(_drop(connection, table, name))
        for text in missing:
            cursor.execute(text)
    return len(stale) + len(missing)


def audit_missing(*, using: str = "default") -> list[tuple[str, str]]:
    """(table, trigger) of each that is not there as it should be."""
    _, stale, absent = _state(connections[using])
    return sorted({*stale, *absent})


_Key = tuple[str, str]  # table, trigger


def _state(connection: BaseDatabaseWrapper) -> tuple[dict[_Key, str], list[_Key], list[_Key]]:
    """Every trigger there should be with its statement; those to be dropped; those to be made."""
    kind = sqlite if connection.vendor == "sqlite" else postgresql
    tables = [audited(model) for model in audited_models()]
    wanted = {
        (table.table, name): text for table in tables for name, text in kind.triggers(table).items()
    }
    wanted |= {(kept.TABLE, name): text for name, text in kept.triggers(connection.vendor).items()}
    have = _triggers(connection)
    stale = [key for key, text in have.items() if _differs(text, wanted.get(key))]
    return wanted, stale, [key for key in wanted if key in stale or key not in have]


def audit_drop(*, using: str = "default") -> None:
    """Takes all audit triggers away."""
    connection = connections[using]
    have = _triggers(connection)
    with connection.cursor() as cursor:
        for table, name in have:
            cursor.execute(_drop(connection, table, name))


def before_migrating(*, using: str, plan: Any, **kwargs: Any) -> None:
    """`pre_migrate`: only where something is going to change."""
    if plan:
        try:
            refuse_half_restored()
        except NotReady as problem:
            raise CommandError(f"{problem} ({problem.hint})") from problem
        audit_drop(using=using)


def after_migrating(*, using: str, **kwargs: Any) -> None:
    """`post_migrate`."""
    audit_sync(using=using)


def _drop(connection: BaseDatabaseWrapper, table: str, name: str) -> str:
    quote = connection.ops.quote_name
    if connection.vendor == "sqlite":
        return f"DROP TRIGGER {quote(name)}"
    return f"DROP TRIGGER {quote(name)} ON {quote(table)}"


def _differs(have: str | None, wanted: str | None) -> bool:
    """PostgreSQL does not keep a trigger's text as written (None): its name carries a hash."""
    return wanted is None or (have is not None and have != wanted)


def _triggers(connection: BaseDatabaseWrapper) -> dict[tuple[str, str], str | None]:
    if connection.vendor == "sqlite":
        query = (
            "SELECT tbl_name, name, sql FROM sqlite_master WHERE type = 'trigger' AND name LIKE %s"
        )
    else:
        query = (
            "SELECT c.relname, t.tgname, NULL FROM pg_trigger t "
            "JOIN pg_class c ON c.oid = t.tgrelid WHERE NOT t.tgisinternal AND t.tgname LIKE %s"
        )
    with connection.cursor() as cursor:
        cursor.execute(query, ["kerfbook_audit_%"])
        return {(table, name): text for table, name, text in cursor.fetchall()}
