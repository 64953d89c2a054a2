"""What `start` runs on one machine: the web process, intake, the follower that ties arcs to
runs, the background worker, and for a demo the simulated table."""

from __future__ import annotations

import fcntl
import os
import socket
import time
import urllib.error
import urllib.request
from collections.abc import Callable
from pathlib import Path
from typing import IO

from dashboards.supervisor import Child, python

THREADS = "8"
LATE_S = 60.0


class StartError(RuntimeError):
    """`start` cannot go on; the message says why and what to do."""


def take_folder(folder: Path) -> IO[str]:
    """Locks the data folder for this process. The lock dies with it."""
    try:
        folder.mkdir(parents=True, exist_ok=True)
        handle = (folder / "start.lock").open("a+", encoding="ascii")
    except OSError as problem:
        raise StartError(
            f"{folder}: cannot hold the data: {problem.strerror}; give another --data folder"
        ) from problem
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
    if not 1 <= port <= 65535:
        raise StartError(f"--port {port}: a port is 1 to 65535")
    family = socket.AF_INET6 if ":" in bind else socket.AF_INET
    with socket.socket(family, socket.SOCK_STREAM) as probe:
        probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            probe.bind((bind, port))
        except OSError as taken:
            raise StartError(f"{bind}:{port}: {taken.strerror}; give another --port") from taken


def host_port(bind: str, port: int) -> str:
    """As an address has it: IPv6 in brackets."""
    return f"[{bind}]:{port}" if ":" in bind else f"{bind}:{port}"


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
            host_port(bind, port),
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


class Announcement:
    """Says that the web process answers, once; and, once, that it has not for a minute."""

    def __init__(self, url: str, *, up: Callable[[], None], late: Callable[[], None]) -> None:
        self.url = url
        self.say_up, self.say_late = up, late
        self.up = self.late = False
        self.late_at = time.monotonic() + LATE_S

    def __call__(self) -> None:
        if self.up:
            return
        if answers(self.url):
            self.up = True
            self.say_up()
        elif not self.late and time.monotonic() > self.late_at:
            self.late = True
            self.say_late()


def answers(url: str) -> bool:
    """Whether a GET of our own loopback gives 200 within a second."""
    try:
        with urllib.request.urlopen(url, timeout=1) as answer:  # noqa: S310 - our own loopback
            return bool(answer.status == 200)
    except (urllib.error.URLError, OSError):
        return False
