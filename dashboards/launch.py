"""What `start` runs on one machine: the web process, intake, the follower that ties arcs to
runs, the background worker, and for a demo the simulated table."""

from __future__ import annotations

import fcntl
import os
import socket
import time
import urllib.error
import urllib.request
from pathlib import Path
from typing import IO

from dashboards.supervisor import Child, python

THREADS = "8"


class StartError(RuntimeError):
    """`start` cannot go on; the message says why and what to do."""


def take_folder(folder: Path) -> IO[str]:
    """Locks the data folder for this process. The lock dies with it."""
    folder.mkdir(parents=True, exist_ok=True)
    handle = (folder / "start.lock").open("a+", encoding="ascii")
    try:
        fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError as held:
        handle.seek(0)
        other = handle.read().strip() or "unknown"
        handle.close()
        raise StartError(
            f"{folder}: already in use by another start (process {other}); "
            "stop it or give another --data folder"
        ) from held
    handle.truncate(0)
    handle.write(str(os.getpid()))
    handle.flush()
    return handle


def check_port(bind: str, port: int) -> None:
    family = socket.AF_INET6 if ":" in bind else socket.AF_INET
    with socket.socket(family, socket.SOCK_STREAM) as probe:
        probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            probe.bind((bind, port))
        except OSError as taken:
            raise StartError(f"{bind}:{port}: {taken.strerror}; give another --port") from taken


def children(*, folder: Path, manage: Path, bind: str, port: int, demo: bool) -> list[Child]:
    env = dict(os.environ)
    env["KERFBOOK_DATA"] = str(folder)
    env["PYTHONUNBUFFERED"] = "1"
    logs = folder / "logs"
    logs.mkdir(exist_ok=True)
    (folder / "static").mkdir(exist_ok=True)

    def child(name: str, *words: str) -> Child:
        return Child(name, python(*words), env, str(logs / f"{name}.log"))

    found = [
        child(
            "web",
            "-m",
            "gunicorn",
            "shopfloor.wsgi",
            "--chdir",
            str(manage.parent),
            "--bind",
            f"{bind}:{port}",
            "--workers",
            "1",
            "--threads",
            THREADS,
            "--graceful-timeout",
            "3",
            "--no-control-socket",
            "--access-logfile",
            "/dev/null",
        ),
        child("intake", str(manage), "intake"),
        child("follow", str(manage), "follow"),
        child(
            "worker",
            "-m",
            "celery",
            "--workdir",
            str(manage.parent),
            "-A",
            "shopfloor",
            "worker",
            "-P",
            "solo",
            "-B",
            "-s",
            str(folder / "beat"),
            "--loglevel",
            "WARNING",
            "--without-gossip",
            "--without-mingle",
            "--hostname",
            "kerfbook@localhost",
        ),
    ]
    if demo:
        found.insert(1, child("tables", str(manage), "simulate"))
    return found


def wait_until_up(url: str, *, within_s: float) -> bool:
    """True once `/healthz` answers; False when it did not in time."""
    until = time.monotonic() + within_s
    while time.monotonic() < until:
        try:
            with urllib.request.urlopen(url, timeout=1) as answer:  # noqa: S310 - our own loopback
                if answer.status == 200:
                    return True
        except (urllib.error.URLError, OSError):
            time.sleep(0.1)
    return False
