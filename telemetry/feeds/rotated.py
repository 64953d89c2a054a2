"""Files that a growing one was rotated to: `t.csv.1`, `t.csv.2.gz`, `t-20261130.csv`, ..."""

from __future__ import annotations

import bz2
import gzip
import lzma
import os
import re
import shutil
import tempfile
import zlib
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any, BinaryIO

from telemetry.feeds.limits import Limits
from telemetry.said import said

_COUNTED = 10_000  # a larger number is a date
_OPENERS: dict[str, Callable[[BinaryIO], Any]] = {
    ".gz": gzip.open,
    ".bz2": bz2.open,
    ".xz": lzma.open,
}


@dataclass(frozen=True, slots=True)
class Sibling:
    """A file beside the followed one. `number` is that of `t.csv.3`; 0 without one."""

    path: Path
    device: int
    inode: str
    size: int
    mtime_ns: int
    number: int
    packing: str  # "" or the name's last part: .gz, ...

    @property
    def identity(self) -> tuple[int, str]:
        return self.device, self.inode


def siblings_of(path: Path) -> list[Sibling]:
    """Oldest first: by when they were last written, then by their number."""
    name, stem, suffix = (re.escape(part) for part in (path.name, path.stem, path.suffix))
    counted = rf"{name}[.\-_](?P<n>\d[\d\-_.T:]*|old)(?P<p>\.[A-Za-z][A-Za-z0-9]*)?"
    dated = rf"{stem}[.\-_]\d[\d\-_.T:]{{5,}}{suffix}(?P<q>\.[A-Za-z][A-Za-z0-9]*)?"
    pattern = re.compile(f"(?:{counted}|{dated})")
    found = []
    for entry in os.scandir(path.parent):
        match = pattern.fullmatch(entry.name)
        if match is None or not entry.is_file():
            continue
        status = entry.stat()
        counter = match["n"] or ""
        number = int(counter) if counter.isdigit() else 0
        found.append(
            Sibling(
                Path(entry.path), status.st_dev, str(status.st_ino), status.st_size,
                status.st_mtime_ns, number if number < _COUNTED else 0,
                match["p"] or match["q"] or "",
            )
        )  # fmt: skip
    return sorted(found, key=lambda one: (one.mtime_ns, -one.number, one.path.name))


def open_sibling(sibling: Sibling, limits: Limits) -> BinaryIO:
    """Raises OSError where it cannot be read whole, NotAllowed where it may not be. A
    compressed one is unpacked beside, because it is read from any place."""
    if not sibling.packing:
        return limits.open_file(sibling.path)
    opener = _OPENERS.get(sibling.packing)
    if opener is None:
        raise OSError(said("{packing} files are not read here", packing=sibling.packing))
    plain: BinaryIO = tempfile.TemporaryFile()  # noqa: SIM115 - it is read for as long as it lasts
    try:
        with limits.open_file(sibling.path) as raw, opener(raw) as packed:
            shutil.copyfileobj(packed, plain)
    except (OSError, EOFError, zlib.error, lzma.LZMAError) as error:
        plain.close()
        raise OSError(said("cannot be unpacked: {error}", error=error)) from error
    plain.seek(0)
    return plain


def missing_between(older: Sibling | None, newer: Sibling | None) -> str:
    """Says which numbered files are gone between two that follow each other; `newer` None stands
    for the file that grows."""
    if older is None or not older.number or (newer is not None and not newer.number):
        return ""
    gone = range((newer.number if newer else 0) + 1, older.number)
    name = older.path.name.partition(f".{older.number}")[0]
    return ", ".join(f"{name}.{number}" for number in gone)
