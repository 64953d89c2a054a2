"""A missing database is made and migrated by the command that first needs it."""

from __future__ import annotations

from pathlib import Path

from django.conf import settings
from django.core.management import call_command
from django.db import connection
from django.db.migrations.executor import MigrationExecutor

from telemetry.locks import Lock


def ensure_database() -> None:
    """Makes the data folder and database and applies what is not applied yet.

    Two commands started at once do not both migrate: the second waits for nothing and finds the
    work done, or is told that it is being done.
    """
    Path(settings.DATA_DIR).mkdir(parents=True, exist_ok=True)
    if not _behind():
        return
    lock = Lock(Path(settings.DATA_DIR) / "migrate.lock", "the database")
    try:
        if _behind():
            call_command("migrate", interactive=False, verbosity=0)
    finally:
        lock.release()


def _behind() -> bool:
    executor = MigrationExecutor(connection)
    return bool(executor.migration_plan(executor.loader.graph.leaf_nodes()))
