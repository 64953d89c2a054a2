"""An empty database as all migrations leave it, made once a run: to migrate takes six seconds of
processor time, to copy the file a few milliseconds."""

from __future__ import annotations

import contextlib
import fcntl
import shutil
import sqlite3
from collections.abc import Iterator
from pathlib import Path
from typing import Any
from urllib.parse import unquote

import environ
from django.core.management import call_command
from django.db import connections
from django.db.utils import load_backend
from django.test import override_settings

NAME = "kerfbook.sqlite3"
SQLITE = {
    "ENGINE": "django.db.backends.sqlite3",
    "OPTIONS": {
        "transaction_mode": "IMMEDIATE",
        "timeout": 20,
        "init_command": "PRAGMA journal_mode=WAL;PRAGMA synchronous=NORMAL;",
    },
}
PLAIN = {
    "ATOMIC_REQUESTS": False,
    "AUTOCOMMIT": True,
    "CONN_MAX_AGE": 0,
    "CONN_HEALTH_CHECKS": False,
    "TIME_ZONE": None,
    "USER": "",
    "PASSWORD": "",
    "HOST": "",
    "PORT": "",
    "OPTIONS": {},
    "TEST": {},
}


@contextlib.contextmanager
def connected_to(config: dict[str, Any]) -> Iterator[None]:
    """Inside, Django's default database is another one."""
    former = connections["default"]
    full = {**PLAIN, **config}
    fresh = load_backend(full["ENGINE"]).DatabaseWrapper(full, "default")
    connections["default"] = fresh
    try:
        yield
    finally:
        fresh.close()
        connections["default"] = former


@contextlib.contextmanager
def working_on(data: Path, url: str | None = None) -> Iterator[None]:
    """Inside, this process works on that data folder, with its SQLite file or the database of the
    URL, as a command started there would."""
    if url:
        config = environ.Env.db_url_config(url)
        config["HOST"] = unquote(config["HOST"])
    else:
        config = {**SQLITE, "NAME": data / NAME}
    folders = {"DATA_DIR": data, "SOURCE_DIRS": (data.parent,)}
    with connected_to(config), override_settings(**folders):
        yield


def migrated_file(folder: Path) -> Path:
    """The database in `folder`, made by whichever worker asks first while the others wait."""
    path = folder / "migrated.sqlite3"
    with (folder / "migrated.lock").open("w") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)
        if not path.exists():
            part = path.with_suffix(".part")
            part.unlink(missing_ok=True)
            with connected_to({"ENGINE": "django.db.backends.sqlite3", "NAME": part}):
                call_command("migrate", verbosity=0, interactive=False, skip_checks=True)
            part.rename(path)
    return path


def copied(migrated: Path, data: Path) -> None:
    """Gives a data folder its empty database, for the program's own processes."""
    data.mkdir(parents=True, exist_ok=True)
    shutil.copyfile(migrated, data / NAME)
    (data / NAME).chmod(0o600)


@contextlib.contextmanager
def filled_in_memory(migrated: Path, name: str) -> Iterator[None]:
    """Copies the file into the shared in-memory database of this URI, which lives while this or
    another connection to it is open."""
    with (
        contextlib.closing(sqlite3.connect(name, uri=True)) as memory,
        contextlib.closing(sqlite3.connect(migrated)) as file,
    ):
        file.backup(memory)
        yield
