"""Real PostgreSQL and Redis for the tests that need them, started from Debian's packages on unix
sockets in a folder of their own, or taken from KERFBOOK_TEST_POSTGRES / KERFBOOK_TEST_REDIS."""

from __future__ import annotations

import contextlib
import os
import shutil
import subprocess
import tempfile
import time
import uuid
from collections.abc import Iterator
from pathlib import Path
from urllib.parse import quote

import psycopg
import pytest


def missing(what: str) -> None:
    """Skips for want of a server or browser, or fails where CI has promised to bring it."""
    if os.environ.get("KERFBOOK_REQUIRE_SERVICES"):
        pytest.fail(f"{what} is missing, and this run requires it")
    pytest.skip(f"{what} is not installed")


@contextlib.contextmanager
def postgres() -> Iterator[str]:
    """The URL of an empty database, which is dropped at the end."""
    with postgres_server() as server, own_database(server) as url:
        yield url


@contextlib.contextmanager
def own_database(server: str, like: str = "") -> Iterator[str]:
    """A database beside that of the URL, dropped at the end: empty, or a copy of another one's,
    to which nobody may be connected."""
    name = f"kb_{uuid.uuid4().hex}"
    copied = f" TEMPLATE {like.rpartition('/')[2]}" if like else ""
    with psycopg.connect(server, autocommit=True) as link:
        link.execute(f"CREATE DATABASE {name}{copied}")
    try:
        yield f"{server.rpartition('/')[0]}/{name}"
    finally:
        with psycopg.connect(server, autocommit=True) as link:
            link.execute(f"DROP DATABASE IF EXISTS {name} WITH (FORCE)")


@contextlib.contextmanager
def postgres_server() -> Iterator[str]:
    """The URL of a server's database, which other tests may fill."""
    given = os.environ.get("KERFBOOK_TEST_POSTGRES")
    if given:
        yield given
        return
    found = sorted(Path("/usr/lib/postgresql").glob("*/bin/initdb"))
    if not found:
        missing("PostgreSQL (apt-get install postgresql)")
    bin_dir = found[-1].parent
    folder = Path(tempfile.mkdtemp(prefix="kb-pg-"))
    user = ["runuser", "-u", "postgres", "--"] if os.geteuid() == 0 else []
    if user:
        shutil.chown(folder, "postgres")
    data = folder / "data"
    make = ["-D", data, "-U", "postgres", "-A", "trust", "--no-locale", "-E", "UTF8", "--no-sync"]
    subprocess.run([*user, bin_dir / "initdb", *make], check=True, capture_output=True)
    options = f"-c listen_addresses='' -k {folder} -c fsync=off"
    control = [*user, bin_dir / "pg_ctl", "-D", data]
    start = [*control, "-w", "-l", folder / "log", "-o", options, "start"]
    subprocess.run(start, check=True, stdout=subprocess.DEVNULL)
    try:
        yield f"postgres://postgres@{quote(str(folder), safe='')}/postgres"
    finally:
        subprocess.run([*control, "-m", "immediate", "stop"], check=False, capture_output=True)
        shutil.rmtree(folder, ignore_errors=True)


@contextlib.contextmanager
def redis() -> Iterator[str]:
    """A broker URL."""
    given = os.environ.get("KERFBOOK_TEST_REDIS")
    if given:
        yield given
        return
    program = shutil.which("redis-server")
    if not program:
        missing("Redis (apt-get install redis-server)")
    folder = Path(tempfile.mkdtemp(prefix="kb-redis-"))
    socket = folder / "redis.sock"
    command = [program, "--port", "0", "--unixsocket", str(socket), "--save", "", "--dir", folder]
    process = subprocess.Popen(command, stdout=subprocess.DEVNULL)
    until = time.monotonic() + 10
    while not socket.exists() and time.monotonic() < until:
        time.sleep(0.02)
    try:
        yield f"redis+socket://{socket}"
    finally:
        process.terminate()
        process.wait(timeout=10)
        shutil.rmtree(folder, ignore_errors=True)
