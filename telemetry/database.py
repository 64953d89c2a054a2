"""A missing database is made and migrated by the command that first needs it."""

from __future__ import annotations

import time
from pathlib import Path

from django.conf import settings
from django.core.management import call_command
from django.db import connection
from django.db.migrations.executor import MigrationExecutor

from telemetry.locks import Busy, Lock

_PATIENCE_S = 120.0


def ensure_database() -> None:
    """Makes the data folder and database and applies what is not applied yet.

    Of two commands started at once one migrates and the other waits for it.
    """
    Path(settings.DATA_DIR).mkdir(parents=True, exist_ok=True)
    if not _behind():
        return
    lock = _wait_for_lock(Path(settings.DATA_DIR) / "migrate.lock")
    try:
        if _behind():
            call_command("migrate", interactive=False, verbosity=0)
    finally:
        lock.release()


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
