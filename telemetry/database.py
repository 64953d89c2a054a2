"""A missing database is made and migrated by the command that first needs it. One that holds rows
of a shop is changed only by `start` and `upgrade`, which back it up first, and by `migrate`."""

from __future__ import annotations

import time
from pathlib import Path

from django.conf import settings
from django.core.management import call_command
from django.db import connection
from django.db.migrations.executor import MigrationExecutor

from telemetry.errors import TelemetryError
from telemetry.locks import Busy, Lock

_PATIENCE_S = 120.0
RESTORED = "restoring/ready.json"  # in the data folder: a restored shop waits to be put in place
_ROOMS = ("shopfloor_", "telemetry_", "planning_", "dashboards_", "auth_", "django_")
# What migrations fill: rows there say nothing of a shop.
_BY_MIGRATIONS = frozenset(
    {
        "auth_group",
        "auth_group_permissions",
        "auth_permission",
        "django_content_type",
        "django_migrations",
    }
)


class NotReady(TelemetryError):
    """The database waits for a command that somebody has to give."""


def ensure_database() -> None:
    """Makes the data folder and an empty database's tables.

    Of two commands started at once one migrates and the other waits for it. Raises NotReady for
    an older version's database that holds rows, and where a restore was interrupted.
    """
    Path(settings.DATA_DIR).mkdir(parents=True, exist_ok=True)
    refuse_half_restored()
    if not _behind():
        return
    lock = _wait_for_lock(Path(settings.DATA_DIR) / "migrate.lock")
    try:
        if _behind():
            if filled_table():
                raise NotReady(
                    "the database is of an older version of this program",
                    hint="run `manage.py upgrade`, which backs it up first",
                )
            call_command("migrate", interactive=False, verbosity=0)
    finally:
        lock.release()


def refuse_half_restored() -> None:
    """Raises NotReady where a restore was interrupted while it put the shop in place: what is
    there now may be half of each, and a missing database must not be made anew."""
    if (Path(settings.DATA_DIR) / RESTORED).is_file():
        raise NotReady(
            f"{settings.DATA_DIR}: a restore was interrupted",
            hint="run `manage.py start`, or `manage.py upgrade`, which finish it",
        )


def filled_table() -> str:
    """The first table that holds rows of a shop, "" where none does."""
    with connection.cursor() as cursor:
        names = connection.introspection.table_names(cursor)
        for table in sorted(name for name in names if name.startswith(_ROOMS)):
            if table in _BY_MIGRATIONS:
                continue
            cursor.execute(f'SELECT 1 FROM "{table}" LIMIT 1')  # noqa: S608
            if cursor.fetchone():
                return table
    return ""


def _wait_for_lock(path: Path) -> Lock:
    waited_until = time.monotonic() + _PATIENCE_S
    while True:
        try:
            return Lock(path, "the database")
        except Busy:
            if time.monotonic() > waited_until:
                raise
            time.sleep(0.1)


def _behind() -> bool:
    executor = MigrationExecutor(connection)
    return bool(executor.migration_plan(executor.loader.graph.leaf_nodes()))
