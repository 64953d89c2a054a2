"""Where a backup is restored to: an empty database beside the one in use, made by its migrations.

On SQLite a second file, on PostgreSQL a second schema of the same database. Nothing of the one in
use changes until `swap` puts the new one in its place.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from django.core.management import call_command
from django.db import connection, connections
from django.db.migrations.executor import MigrationExecutor

from shopfloor.backup.archive import BackupError
from shopfloor.backup.tables import Migrations, last_of_each
from telemetry.database import filled_table

SCHEMA = "kerfbook_restoring"
_NAME = "kerfbook-restore"  # what our second connection calls itself
_OURS = "^(shopfloor|telemetry|planning|dashboards|auth|django)_"
_FUNCTION = "kerfbook_audit"


def is_sqlite() -> bool:
    return connection.vendor == "sqlite"


def sqlite_path() -> Path:
    return Path(str(connection.settings_dict["NAME"]))


def beside() -> Path:
    """The new database's file until it is put in place."""
    path = sqlite_path()
    return path.with_name(f"{path.name}.restoring")


@contextmanager
def staged() -> Iterator[None]:
    """Everything inside, migrations included, sees the new database as the default one."""
    former, fresh = connections["default"], connection.copy()
    if is_sqlite():
        fresh.settings_dict["NAME"] = str(beside())
    else:
        options = dict(fresh.settings_dict.get("OPTIONS", {}))
        more = f"-c search_path={SCHEMA} -c application_name={_NAME}"
        options["options"] = f"{options.get('options', '')} {more}".strip()
        fresh.settings_dict["OPTIONS"] = options
    connections["default"] = fresh
    try:
        yield
    finally:
        fresh.close()
        connections["default"] = former


def make_empty(applied: Migrations) -> None:
    """The tables of that version, within `staged`. Leaves of an earlier try are dropped first."""
    if is_sqlite():
        drop_staged()
    else:
        with connection.cursor() as cursor:
            cursor.execute(f"DROP SCHEMA IF EXISTS {SCHEMA} CASCADE")
            cursor.execute(f"CREATE SCHEMA {SCHEMA}")
    executor = MigrationExecutor(connection)
    executor.migrate(last_of_each(applied))


def migrate_on() -> None:
    """To this program's own version, triggers included, within `staged`."""
    call_command("migrate", verbosity=0, interactive=False)


def drop_staged() -> None:
    """Forgets a new database that will not be used."""
    if is_sqlite():
        for suffix in ("", "-wal", "-shm", "-journal"):
            Path(f"{beside()}{suffix}").unlink(missing_ok=True)
        return
    with connection.cursor() as cursor:
        cursor.execute(f"DROP SCHEMA IF EXISTS {SCHEMA} CASCADE")


def occupied() -> str:
    """The first table that holds rows of a shop, "" where none does."""
    if is_sqlite() and not sqlite_path().is_file():
        return ""
    return filled_table()


def refuse_in_use() -> None:
    """Raises BackupError where another process has the database open."""
    if is_sqlite():
        connection.close()
        if sqlite_path().is_file() and not _alone(sqlite_path()):
            raise BackupError(f"{sqlite_path()}: is in use; stop what runs on it first")
        return
    with connection.cursor() as cursor:
        cursor.execute(
            "SELECT count(*) FROM pg_stat_activity WHERE datname = current_database() "
            "AND pid <> pg_backend_pid() AND backend_type = 'client backend' "
            "AND application_name <> %s",  # ours was closed, and its process may end later
            [_NAME],
        )
        others = cursor.fetchone()[0]
    if others:
        name = connection.settings_dict["NAME"]
        raise BackupError(
            f"database {name}: is in use ({others} other connections); stop what runs on it first"
        )


def _alone(path: Path) -> bool:
    raw = sqlite3.connect(path, timeout=0.2, isolation_level=None)
    try:
        raw.execute("PRAGMA locking_mode = EXCLUSIVE")
        raw.execute("BEGIN EXCLUSIVE")
        raw.execute("ROLLBACK")
    except sqlite3.OperationalError:
        return False
    finally:
        raw.close()
    return True


def swap_schema(kept: str, *, keep: bool) -> None:
    """PostgreSQL: our tables go to the schema `kept`, the new ones take their place, both or
    neither. Without `keep` the old ones, which are empty, are dropped."""
    with connection.cursor() as cursor:
        cursor.execute("BEGIN")
        cursor.execute("SELECT 1 FROM pg_namespace WHERE nspname = %s", [SCHEMA])
        if not cursor.fetchone():
            cursor.execute("ROLLBACK")
            return
        cursor.execute("SELECT current_schema()")
        here = cursor.fetchone()[0]
        cursor.execute(f'CREATE SCHEMA "{kept}"')
        _move(cursor, here, kept)
        _move(cursor, SCHEMA, here)
        cursor.execute(f"DROP SCHEMA {SCHEMA} CASCADE")
        if not keep:
            cursor.execute(f'DROP SCHEMA "{kept}" CASCADE')
        cursor.execute("COMMIT")
        cursor.execute("ANALYZE")


def _move(cursor: Any, start: str, end: str) -> None:
    cursor.execute(
        "SELECT tablename FROM pg_tables WHERE schemaname = %s AND tablename ~ %s", [start, _OURS]
    )
    for (table,) in cursor.fetchall():
        cursor.execute(f'ALTER TABLE "{start}"."{table}" SET SCHEMA "{end}"')
    cursor.execute("SELECT to_regproc(%s)", [f'"{start}".{_FUNCTION}'])
    if cursor.fetchone()[0]:
        cursor.execute(f'ALTER FUNCTION "{start}".{_FUNCTION}() SET SCHEMA "{end}"')
