"""The files of a data folder that a backup holds, read while the intake writes on.

Nothing the database knows may be missing, so the caller takes the database's snapshot first. What
collectors delivered comes before the journals: the intake lets go of it once a journal has it.
"""

from __future__ import annotations

import fcntl
import os
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from shopfloor.backup.archive import KEY, PIECE, ROOTS, BackupError, Writer
from telemetry.journal.segments import PACKED, SUFFIX, segment_numbers
from telemetry.thinning import thinning_lock

_LEFT_OUT = (".lock", ".new", ".part")


def folder_write(folder: Path, writer: Writer) -> Iterator[dict[str, Any]]:
    """Writes every file there is, and gives its entry for the manifest. Waits while a journal is
    being thinned, which takes seconds."""
    with thinning_lock(folder).open("a") as held:
        fcntl.flock(held, fcntl.LOCK_SH)
        yield from _write(folder, writer)


def _write(folder: Path, writer: Writer) -> Iterator[dict[str, Any]]:
    for root in ROOTS:
        for path in _files(folder / root):
            entry = _copy(path, path.relative_to(folder).as_posix(), writer)
            if entry is not None:
                yield entry
    if (folder / KEY).is_file() and (entry := _copy(folder / KEY, KEY, writer)):
        yield entry


def _files(root: Path) -> list[Path]:
    """Files below `root`, those of inboxes first, segments of a journal in their order. A segment
    that lies there both packed and plain is one."""
    found = [Path(place, name) for place, _, names in os.walk(root) for name in names]
    kept = [path for path in found if path.suffix not in _LEFT_OUT]
    plain = {path for path in kept if path.name.endswith(SUFFIX)}
    kept = [
        path
        for path in kept
        if not path.name.endswith(SUFFIX + PACKED) or path.with_suffix("") not in plain
    ]
    return sorted(kept, key=lambda path: ("push" not in path.relative_to(root).parts, path))


def _copy(path: Path, name: str, writer: Writer) -> dict[str, Any] | None:
    """Copies a file as long as it now is. A segment may be packed meanwhile by the intake, and is
    then taken packed; one that is gone altogether was let go of. Raises BackupError for another
    segment that is gone with older ones still there."""
    try:
        descriptor = os.open(path, os.O_RDONLY)
    except FileNotFoundError:
        if path.name.endswith(SUFFIX):
            packed = path.with_name(path.name + PACKED)
            if packed.exists():
                return _copy(packed, name + PACKED, writer)
            number = int(path.name.removesuffix(SUFFIX))
            if segment_numbers(path.parent)[:1] < [number]:
                raise BackupError(f"{path}: the segment vanished while it was copied") from None
        return None
    with os.fdopen(descriptor, "rb") as source, writer.member(name) as out:
        left = os.fstat(source.fileno()).st_size
        while left > 0 and (piece := source.read(min(PIECE, left))):
            out.write(piece)
            left -= len(piece)
    return out.entry()
