"""One worker a feed, by a lock of the operating system that dies with its process."""

from __future__ import annotations

import contextlib
import fcntl
import os
from pathlib import Path

from telemetry.errors import TelemetryError


class Busy(TelemetryError):
    """Another process holds the lock."""


class Lock:
    """An exclusive lock on a file; never waits. Released by `release` or the end of the process."""

    def __init__(self, path: Path, what: str, done: str = "read") -> None:
        path.parent.mkdir(parents=True, exist_ok=True)
        self._descriptor = os.open(path, os.O_RDWR | os.O_CREAT, 0o640)
        try:
            fcntl.flock(self._descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            holder = os.read(self._descriptor, 20).decode("ascii", "replace").strip()
            os.close(self._descriptor)
            who = f"process {holder}" if holder else "another process"
            raise Busy(f"{what} is already being {done} by {who}", retry=True) from None
        with contextlib.suppress(OSError):  # a full disk costs the name, not the lock
            os.ftruncate(self._descriptor, 0)
            os.pwrite(self._descriptor, str(os.getpid()).encode(), 0)

    def release(self) -> None:
        os.close(self._descriptor)


def is_held(path: Path) -> bool:
    """Whether a live process holds the lock at `path`."""
    try:
        descriptor = os.open(path, os.O_RDWR)
    except FileNotFoundError:
        return False
    try:
        fcntl.flock(descriptor, fcntl.LOCK_SH | fcntl.LOCK_NB)
    except BlockingIOError:
        return True
    finally:
        os.close(descriptor)
    return False
