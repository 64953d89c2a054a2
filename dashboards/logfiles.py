"""Keeps a log from filling the disk. The process that writes it holds the file open to append, so
what is full is copied aside and emptied in place."""

from __future__ import annotations

import contextlib
import os
import shutil
from pathlib import Path

FULL_BYTES = 2 * 1024 * 1024
KEPT = 3  # full ones, beside the one being written


def bound(log: Path, full_bytes: int = FULL_BYTES, kept: int = KEPT) -> None:
    """Called now and then. A line written during the copy may be lost; a disk that cannot take
    the copy loses the full log rather than fill up."""
    try:
        if log.stat().st_size < full_bytes:
            return
    except OSError:
        return
    with contextlib.suppress(OSError):
        for number in range(kept - 1, 0, -1):
            with contextlib.suppress(FileNotFoundError):
                os.replace(_numbered(log, number), _numbered(log, number + 1))
        shutil.copyfile(log, _numbered(log, 1))
    with contextlib.suppress(OSError):
        os.truncate(log, 0)


def _numbered(log: Path, number: int) -> Path:
    return log.with_name(f"{log.name}.{number}")
