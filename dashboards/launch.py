"""What `start` runs on one machine: the web process, intake, the follower that ties arcs to
runs, the background worker, and for a demo the simulated table."""

from __future__ import annotations

import contextlib
import errno
import fcntl
import os
import socket
import time
import urllib.error
import urllib.request
from collections.abc import Callable
from pathlib import Path
from typing import IO

from django.conf import settings

from dashboards.supervisor import Child, python
from shopfloor.web.hosts import accepted_host, asked_by, is_loopback, own_addresses
from telemetry.feeds.limits import default_dirs

THREADS = "8"
LATE_S = 60.0
HINTS = {
    errno.EADDRNOTAVAIL: "not an address of this machine; 0.0.0.0 is all of them",
    errno.EACCES: "give a --port over 1023",
}


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


def make_source_dir() -> None:
    """Makes the folder that sources read from where none is set; without it only files are
    missing."""
    if not settings.SOURCE_DIRS:
        with contextlib.suppress(OSError):
            default_dirs()[0].mkdir(exist_ok=True)


def source_words() -> str:
    """Which files and ports signal sources may read."""
    folders = ":".join(map(str, settings.SOURCE_DIRS or default_dirs()))
    schemes = ", ".join(f"{scheme}://" for scheme in settings.PORT_SCHEMES)
    return (
        f"Sources may read files below {folders} (KERFBOOK_SOURCE_DIRS), serial devices"
        f"{' and ' + schemes if schemes else ''} (KERFBOOK_PORT_SCHEMES)."
    )


def check_port(bind: str, port: int) -> None:
    if not 1 <= port <= 65535:
        raise StartError(f"--port {port}: a port is 1 to 65535")
    try:
        found = socket.getaddrinfo(bind, port, type=socket.SOCK_STREAM, flags=socket.AI_PASSIVE)
    except (OSError, UnicodeError) as unknown:
        raise StartError(f"--bind {bind}: not an address; 0.0.0.0 is all of them") from unknown
    family, kind, _, _, address = found[0]
    with socket.socket(family, kind) as probe:
        probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            probe.bind(address)
        except OSError as taken:
            hint = HINTS.get(taken.errno or 0, "give another --port")
            raise StartError(f"{host_port(bind, port)}: {taken.strerror}; {hint}") from taken


def host_port(bind: str, port: int) -> str:
    """As an address has it: IPv6 in brackets."""
    return f"[{bind}]:{port}" if ":" in bind else f"{bind}:{port}"


def addresses_said(bind: str, port: int, *, demo: bool) -> list[str]:
    """What to type, here and on a tablet."""
    named = os.environ.get("KERFBOOK_HOSTS")
    if is_loopback(bind):
        said = [f"Kerfbook: http://{host_port(bind, port)}/"]
        if not demo:
            said.append(
                "Only this machine reaches it. For tablets start it with --bind 0.0.0.0, in a "
                "network you trust."
            )
        return said
    if named:
        return [f"Kerfbook: http://{host_port(accepted_host(), port)}/ (from KERFBOOK_HOSTS)"]
    wild = asked_by(bind) != bind
    reached = [text for text in own_addresses() if not wild or _speaks(bind, text)]
    said = [f"Kerfbook: http://{host_port(asked_by(bind), port)}/"]
    said += [
        f"On a tablet: http://{host_port(text, port)}/floor/"
        for text in (reached if wild else [bind])
    ]
    if len(said) == 1:
        said.append("This machine has no address in a network yet, so no tablet can reach it.")
    return said


def _speaks(bind: str, text: str) -> bool:
    return (":" in bind) == (":" in text)


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
            str(manage),
            "web",
            "--bind",
            bind,
            "--port",
            str(port),
            "--threads",
            THREADS,
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

    def __init__(
        self, bind: str, port: int, *, up: Callable[[], None], late: Callable[[], None]
    ) -> None:
        self.url = f"http://{host_port(asked_by(bind), port)}/healthz"
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
    """Whether a GET of this machine, under a name it answers to, gives 200 within a second."""
    asked = urllib.request.Request(url, headers={"Host": accepted_host()})  # noqa: S310
    try:
        with urllib.request.urlopen(asked, timeout=1) as answer:  # noqa: S310 - our own machine
            return bool(answer.status == 200)
    except (urllib.error.URLError, OSError):
        return False
