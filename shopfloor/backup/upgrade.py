"""To this program's version of the database, with a backup before and the way back."""

from __future__ import annotations

from contextlib import nullcontext
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

from django.apps import apps
from django.conf import settings
from django.core.management import call_command
from django.db import connection
from django.db.migrations.executor import MigrationExecutor

from shopfloor.backup import target
from shopfloor.backup.archive import BackupError
from shopfloor.backup.make import backup_make
from shopfloor.backup.restore import alone, restore
from shopfloor.backup.tables import unknown


@dataclass(frozen=True, slots=True)
class Upgraded:
    """What was applied, none where the database was of this version, and the backup before it."""

    applied: tuple[str, ...]
    backup: Path | None


class UpgradeFailed(BackupError):
    """It failed, and the shop is as it was; the message says where the failed one lies."""


def pending() -> tuple[str, ...]:
    """Migrations the database of a shop waits for; none where there is no shop yet. Raises
    BackupError for a database of a newer version."""
    if target.is_sqlite() and not target.sqlite_path().is_file():
        return ()
    executor = MigrationExecutor(connection)
    if newer := unknown(list(executor.loader.applied_migrations)):
        raise BackupError(f"the database is of a newer Kerfbook, which has {newer[0]}")
    if not target.occupied():
        return ()
    plan = executor.migration_plan(executor.loader.graph.leaf_nodes())
    return tuple(f"{one.app_label}.{one.name}" for one, _ in plan)


def usual_place(now: datetime) -> Path:
    """Where the backup goes that was given no file."""
    folder = Path(settings.DATA_DIR) / "backups"
    folder.mkdir(mode=0o700, parents=True, exist_ok=True)
    return folder / f"before-upgrade-{now:%Y%m%dT%H%M%SZ}.zip"


def upgrade(path: Path | None = None, *, locked: bool = False) -> Upgraded:
    """Backs up, migrates, checks. Raises UpgradeFailed after everything was put back, BackupError
    where nothing was begun. With `locked` the caller keeps others away."""
    folder = Path(settings.DATA_DIR)
    with nullcontext() if locked else alone(folder):
        waits = pending()
        if not waits:
            return Upgraded((), None)
        made = backup_make(path or usual_place(datetime.now(UTC)))
        try:
            call_command("migrate", verbosity=0, interactive=False)
            check()
        except Exception as problem:  # whatever a migration raises, the shop goes back
            why = " ".join(str(problem).split())
            failed = problem
        else:
            return Upgraded(waits, made.path)
        back = restore(made.path, replace=True, migrate=False, locked=True)
        raise UpgradeFailed(
            f"the upgrade failed and the shop is as it was before: {why} "
            f"(the failed one is kept in {back.kept}, the backup in {made.path})"
        ) from failed


def check() -> None:
    """Every table can be read by this program, and no row refers to one that is not there."""
    for model in apps.get_models():
        model._default_manager.order_by().first()
    connection.check_constraints()
