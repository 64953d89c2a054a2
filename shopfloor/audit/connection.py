"""Telling the database who acts. SQLite asks back; PostgreSQL is told before each statement that
may write, since what a transaction set is gone again once it is rolled back."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from django.db.backends.base.base import BaseDatabaseWrapper

from shopfloor.audit.actor import current_who, current_why

_READS = ("SELECT", "SAVEPOINT", "RELEASE", "ROLLBACK", "SHOW", "SET", "BEGIN", "COMMIT", "DECLARE")


def on_connection(connection: BaseDatabaseWrapper, **kwargs: Any) -> None:
    """`connection_created`: the one place every connection passes, whichever process opens it."""
    if connection.vendor == "sqlite":
        raw: Any = connection.connection
        raw.create_function("kerfbook_who", 0, current_who)
        raw.create_function("kerfbook_why", 0, current_why)
    elif connection.vendor == "postgresql" and _tell not in connection.execute_wrappers:
        connection.execute_wrappers.append(_tell)


def _tell(
    execute: Callable[..., Any], sql: Any, params: Any, many: bool, context: dict[str, Any]
) -> Any:
    if not str(sql).lstrip()[:9].upper().startswith(_READS):
        cursor = context["cursor"]
        cursor.cursor.execute(
            "SELECT set_config('kerfbook.who', %s, false), set_config('kerfbook.why', %s, false)",
            [current_who(), current_why()],
        )
    return execute(sql, params, many, context)
