"""Makes many journals durable by one call for the whole file system they lie on.

With a hundred files a call each costs ten times as much as their bytes. One call writes all that
waits for that disk, also what others wrote: where that takes long it is left alone for a while.
"""

from __future__ import annotations

import ctypes
import os
import sys
import time
from collections.abc import Sequence
from pathlib import Path

_LEAST = 8  # files; fewer are made durable as quickly one by one
_LONG_S = 0.025  # half a commit's window
_AGAIN_S, _AGAIN_LAST_S = 0.5, 10.0
# Of these it is known that the call waits for the bytes and for the disk's own cache. A system of
# files within another (overlay, FUSE) may do neither.
_TRUSTED = frozenset({"ext4", "xfs"})
_TELLS_FAULTS = (5, 8)  # Linux before it kept quiet about bytes that could not be written


class Disk:
    """The file system that holds a folder. `sync` says whether it made everything durable."""

    def __init__(self, folder: Path) -> None:
        folder.mkdir(parents=True, exist_ok=True)  # before the first source there is none
        self._descriptor = os.open(folder, os.O_RDONLY)  # a fault since it was opened is told
        self.device = os.fstat(self._descriptor).st_dev
        self._call = _call() if _kind(self.device) in _TRUSTED else None
        self._not_before, self._again_s = 0.0, _AGAIN_S

    def close(self) -> None:
        os.close(self._descriptor)

    def takes(self, devices: Sequence[int]) -> bool:
        """Whether files on these devices are better made durable all at once."""
        if self._call is None or len(devices) < _LEAST or time.monotonic() < self._not_before:
            return False
        return all(device == self.device for device in devices)

    def sync(self) -> None:
        """Returns once all that was written before is durable. Raises OSError."""
        if self._call is None:
            raise OSError("this file system cannot be made durable as a whole")
        began_s = time.monotonic()
        if self._call(self._descriptor) != 0:
            number = ctypes.get_errno()
            raise OSError(number, os.strerror(number))
        now_s = time.monotonic()
        if now_s - began_s <= _LONG_S:
            self._again_s = _AGAIN_S
            return
        self._not_before = now_s + self._again_s
        self._again_s = min(self._again_s * 2, _AGAIN_LAST_S)


def _call() -> ctypes._NamedFuncPointer | None:
    if sys.platform != "linux" or _version(os.uname().release) < _TELLS_FAULTS:
        return None
    return getattr(ctypes.CDLL(None, use_errno=True), "syncfs", None)


def _version(release: str) -> tuple[int, int]:
    major, minor = release.split(".")[:2]
    digits = minor[: len(minor) - len(minor.lstrip("0123456789"))]
    return int(major), int(digits or 0)


def _kind(device: int) -> str:
    """The kind of file system behind a device number, "" where it is not told."""
    wanted = f"{os.major(device)}:{os.minor(device)}"
    try:
        lines = Path("/proc/self/mountinfo").read_text().splitlines()
    except OSError:
        return ""
    for line in lines:  # proc(5): id parent major:minor root mount options [fields] - type ...
        front, _, behind = line.partition(" - ")
        if front.split()[2] == wanted:
            return behind.split()[0]
    return ""
