"""Making a backup while everything runs."""

from __future__ import annotations

import contextlib
import fcntl
import os
import sqlite3
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import IO, Any

from django.conf import settings
from django.db import DatabaseError

from shopfloor.backup.archive import FORMAT, BackupError, Reader, Writer, is_backup
from shopfloor.backup.folder import folder_write
from shopfloor.backup.snapshot import Snapshot, snapshot
from shopfloor.backup.tables import tables_of, unknown
from telemetry.database import NotReady, refuse_half_restored


@dataclass(frozen=True, slots=True)
class Made:
    """What was written: where, how large, how many rows a table, how many files."""

    path: Path
    size: int
    rows: dict[str, int]
    files: int


def backup_make(path: Path) -> Made:
    """Writes a backup of database and data folder. It appears under its name only once it is whole,
    on disk and read back. Raises BackupError; nothing half is left."""
    path = _place(path)
    try:
        refuse_half_restored()
    except NotReady as problem:
        raise BackupError(f"{problem} ({problem.hint})") from problem
    draft = path.with_name(f".{path.name}.part")
    handle = _draft(draft)
    try:
        with handle:
            manifest = _write(handle)
            checked = Reader(handle, str(path))
            size = os.fstat(handle.fileno()).st_size
        os.replace(draft, path)
        _sync(path.parent)
    except (OSError, DatabaseError, sqlite3.Error) as problem:
        why = " ".join(str(getattr(problem, "strerror", None) or problem).split())
        raise BackupError(f"{path}: {why}") from problem
    finally:
        with contextlib.suppress(OSError):
            draft.unlink()
    rows = {table["table"]: table["rows"] for table in checked.manifest["tables"]}
    return Made(path, size, rows, len(manifest["files"]))


def _place(path: Path) -> Path:
    if str(path) == "-":
        raise BackupError("-: a backup is not written to the output; name a file")
    path = path.expanduser().absolute()
    if path.is_dir():
        raise BackupError(f"{path}: is a folder; name a file in it")
    if not path.parent.is_dir():
        raise BackupError(f"{path}: there is no folder {path.parent}")
    if path.exists() and not (path.is_file() and is_backup(path)):
        raise BackupError(f"{path}: is there already and no backup; name another file")
    return path


def _draft(draft: Path) -> IO[bytes]:
    """One draft of a name at a time: of two backups to one file the later is refused."""
    try:
        descriptor = os.open(draft, os.O_RDWR | os.O_CREAT, 0o600)
    except OSError as problem:
        raise BackupError(f"{draft.parent}: cannot be written to: {problem.strerror}") from problem
    try:
        fcntl.flock(descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except BlockingIOError:
        os.close(descriptor)
        raise BackupError(f"{draft}: is being written by another backup") from None
    os.fchmod(descriptor, 0o600)
    os.ftruncate(descriptor, 0)
    return os.fdopen(descriptor, "r+b")


def _write(handle: IO[bytes]) -> dict[str, Any]:
    """The database first, then the files: so nothing that the database knows is missing."""
    at = datetime.now(UTC)
    writer = Writer(handle, at)
    try:
        return _write_all(writer, at)
    except BaseException:
        writer.drop()
        raise


def _write_all(writer: Writer, at: datetime) -> dict[str, Any]:
    with snapshot() as found:
        migrations = found.migrations()
        if newer := unknown(migrations):
            raise BackupError(f"the database is of a newer Kerfbook, which has {newer[0]}")
        tables = _tables(found, migrations, writer)
        vendor = found.vendor
    manifest = {
        "format": FORMAT,
        "made_at": at.isoformat(),
        "database": vendor,
        "migrations": migrations,
        "tables": tables,
        "files": list(folder_write(Path(settings.DATA_DIR), writer)),
    }
    writer.finish(manifest)
    return manifest


def _tables(
    found: Snapshot, migrations: list[tuple[str, str]], writer: Writer
) -> list[dict[str, Any]]:
    entries = []
    for table in tables_of(migrations):
        with writer.member(f"tables/{table.name}.copy") as out:
            rows = found.copy(table, out.write)
        entries.append(
            {
                **out.entry(),
                "table": table.name,
                "rows": rows,
                "columns": [[column.name, column.kind] for column in table.columns],
                "serial": table.serial,
                "next_id": found.next_id(table) if table.serial else 0,
            }
        )
    return entries


def _sync(folder: Path) -> None:
    descriptor = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(descriptor)
    finally:
        os.close(descriptor)
