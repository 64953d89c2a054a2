"""A backup back into a data folder and database: all checked first, then made beside, then put in
place. A refusal changes nothing."""

from __future__ import annotations

import os
import shutil
from collections.abc import Iterator
from contextlib import contextmanager, nullcontext
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

from django.conf import settings
from django.contrib.contenttypes.models import ContentType
from django.db import Error as DatabaseError

from shopfloor.backup import swap, target
from shopfloor.backup.archive import PIECE, ROOTS, BackupError, Reader, reading
from shopfloor.backup.load import load
from shopfloor.backup.tables import Table, tables_of, unknown
from telemetry.errors import TelemetryError
from telemetry.locks import Lock, is_held

_SPACE = 1.6  # bytes of a SQLite file for one of text, indexes included


@dataclass(frozen=True, slots=True)
class Restored:
    """What was put back. `kept` says where the old shop lies now, "" where there was none."""

    made_at: str
    rows: dict[str, int]
    files: int
    kept: str


def restore(
    path: Path, *, replace: bool = False, migrate: bool = True, locked: bool = False
) -> Restored:
    """Raises BackupError with one line; then nothing of the shop in use has changed. Without
    `migrate` the database stays at the backup's version, for a program of that version. With
    `locked` the caller keeps others away."""
    folder = Path(settings.DATA_DIR)
    if swap.unfinished(folder):
        with alone(folder):  # finishes it, whatever the file given now is like
            pass
    with reading(path) as backup, nullcontext() if locked else alone(folder):
        tables = _known_tables(backup)
        _check_space(backup, folder)
        there = _occupied(folder)
        if there and not replace:
            raise BackupError(f"{there}; --replace moves the old shop aside and keeps it")
        try:
            plan = _put_in_place(backup, tables, folder, keep=bool(there), migrate=migrate)
        except (OSError, DatabaseError) as problem:
            raise BackupError(f"{path}: cannot be restored: {problem}") from problem
        rows = {entry["table"]: entry["rows"] for entry in backup.manifest["tables"]}
        files = len(backup.manifest["files"])
        kept = str(folder / plan.kept) if plan.keep else ""
        if kept and not target.is_sqlite():
            kept += f" and schema {plan.schema}"
        return Restored(str(backup.manifest["made_at"]), rows, files, kept)


def _put_in_place(
    backup: Reader, tables: list[Table], folder: Path, *, keep: bool, migrate: bool
) -> swap.Plan:
    plan = swap.plan_of(datetime.now(UTC), keep=keep)
    try:
        _extract(backup, swap.begin(folder))
        _make_database(backup, tables, migrate=migrate)
        target.refuse_in_use()
    except BaseException:
        swap.drop(folder)
        target.drop_staged()
        raise
    swap.swap(folder, plan)
    ContentType.objects.clear_cache()
    return plan


def _make_database(backup: Reader, tables: list[Table], *, migrate: bool) -> None:
    applied = {(app, name) for app, name in backup.manifest["migrations"]}
    next_ids = {entry["table"]: entry["next_id"] for entry in backup.manifest["tables"]}
    with target.staged():
        target.make_empty(applied)
        load(tables, lambda table: backup.open(f"tables/{table.name}.copy"), next_ids)
        ContentType.objects.clear_cache()
        if migrate:
            target.migrate_on()
    if target.is_sqlite():
        with target.beside().open("rb") as handle:
            os.fsync(handle.fileno())


def _extract(backup: Reader, staging: Path) -> None:
    for entry in backup.manifest["files"]:
        place = staging / entry["name"]
        place.parent.mkdir(parents=True, exist_ok=True)
        descriptor = os.open(place, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
        with os.fdopen(descriptor, "wb") as out, backup.open(entry["name"]) as source:
            shutil.copyfileobj(source, out, PIECE)
            out.flush()
            os.fsync(out.fileno())


def _known_tables(backup: Reader) -> list[Table]:
    """The backup's tables, which must be those that its migrations make here."""
    applied = [(str(app), str(name)) for app, name in backup.manifest["migrations"]]
    if newer := unknown(applied):
        raise backup.wrong(f"was made by a newer Kerfbook, which has {newer[0]}")
    tables = tables_of(applied)
    wanted = {table.name: [[c.name, c.kind] for c in table.columns] for table in tables}
    there = {entry["table"]: entry["columns"] for entry in backup.manifest["tables"]}
    for name in sorted(set(wanted) | set(there)):
        if wanted.get(name) != there.get(name):
            raise backup.wrong(f"tables/{name}.copy: is not as its migrations make it")
    return tables


def _check_space(backup: Reader, folder: Path) -> None:
    rows = sum(entry["bytes"] for entry in backup.manifest["tables"])
    files = sum(entry["bytes"] for entry in backup.manifest["files"])
    wanted = files + (round(rows * _SPACE) if target.is_sqlite() else 0)
    free = shutil.disk_usage(folder).free
    if wanted > free:
        raise BackupError(
            f"{folder}: {wanted / 1e6:,.0f} MB are needed and {free / 1e6:,.0f} MB are free"
        )


def _occupied(folder: Path) -> str:
    """What of a shop is there already, in words; "" where nothing is."""
    if table := target.occupied():
        return f"the database holds a shop (rows in {table})"
    for root in ROOTS:
        for place, _, names in os.walk(folder / root):
            if kept := [name for name in names if not name.endswith(".lock")]:
                return f"{Path(place) / kept[0]}: there is a shop's file"
    return ""


@contextmanager
def alone(folder: Path) -> Iterator[None]:
    """Nothing else runs on the folder and the database; `start` is kept away until this ends.
    A restore that was interrupted is finished first."""
    try:
        folder.mkdir(parents=True, exist_ok=True)
        lock = Lock(folder / "start.lock", f"{folder}")
    except OSError as problem:
        raise BackupError(f"{folder}: {problem.strerror}") from problem
    except TelemetryError as held:
        raise BackupError(f"{folder}: `start` runs on it; stop it first") from held
    try:
        for path in sorted(folder.glob("journal/*/*.lock")):
            if is_held(path):
                raise BackupError(f"{path}: is held by a running intake; stop it first")
        target.refuse_in_use()
        swap.finish(folder)
        yield
    except DatabaseError as problem:
        raise BackupError(f"the database: {' '.join(str(problem).split())}") from problem
    finally:
        lock.release()
