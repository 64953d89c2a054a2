"""The collector's folder: who it is, its journal, and how far that was acknowledged."""

from __future__ import annotations

import contextlib
import json
import os
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any
from uuid import uuid4

from telemetry.errors import SourceError
from telemetry.feeds.base import Known
from telemetry.journal import Damage, Kind, Position, Record, Writer, read
from telemetry.journal.segments import segment_numbers, segment_path
from telemetry.locks import Lock

SEGMENT_BYTES = 8 * 1024 * 1024
_SAVE_EACH_S = 5.0
_DAY_S = 86_400


class Spool:
    """Everything a collector keeps, in one folder held by one process."""

    def __init__(self, folder: Path, *, keep_days: float) -> None:
        """Raises SourceError where another process collects for this feed already."""
        self.folder, self._keep_s = folder, keep_days * _DAY_S
        self.lock = Lock(folder / "lock", f"what is collected for {folder.name!r}")
        self.collector = _name_of(folder / "collector")
        state = _load(folder / "state.json")
        self._journal = folder / "journal"
        numbers = segment_numbers(self._journal)
        self.sent = Position(*state["sent"]) if state else Position(numbers[0] if numbers else 0)
        self._bytes_end: int = state.get("bytes_end", 0)
        self._files: dict[tuple[str, int], dict[str, Any]] = {
            (row["path"], row["generation"]): row for row in state.get("files", [])
        }
        self.writer = Writer(self._journal, floor=self.sent, segment_bytes=SEGMENT_BYTES)
        self._saved_at = 0.0

    def known(self) -> Known:
        """What was taken from the source so far: as acknowledged, and what waits behind it."""
        end, files = self._bytes_end, dict(self._files)
        for item, _ in read(self._journal, self.sent):
            end = _seen(item, end, files)
        return Known(end, end > 0, tuple(files.values()))

    @property
    def waiting(self) -> int:
        """Records on disk that are not acknowledged."""
        return max(0, self.writer.durable.sequence - self.sent.sequence)

    def unsent(self) -> Iterator[tuple[Record | Damage, Position]]:
        """Records on disk behind what is acknowledged, to the end as it is now."""
        return read(self._journal, self.sent, self.writer.durable)

    def rewind(self, wanted: int) -> None:
        """The server says which record it wants: go on there. Raises SourceError where it has more
        than was ever written here."""
        if wanted > self.writer.durable.sequence:
            raise SourceError(
                f"{self.folder}: is older than what the server has of this collector "
                f"(record {wanted - 1}, here {self.writer.durable.sequence - 1})",
                hint=f"issue a new token and remove {self.folder / 'collector'}",
            )
        if wanted >= self.sent.sequence:  # answers were lost, or our last place
            for item, position in read(self._journal, self.sent, Position(0, 0, wanted)):
                self._bytes_end = _seen(item, self._bytes_end, self._files)
                self.sent = position
            return
        numbers = segment_numbers(self._journal)
        self.sent = Position(numbers[0] if numbers else 0, 0, wanted)

    def acknowledged(self, items: list[Record], end: Position) -> None:
        """The server has these on its disk. What they say of the source is kept with the place."""
        for item in items:
            self._bytes_end = _seen(item, self._bytes_end, self._files)
        self.sent = end
        if time.monotonic() - self._saved_at > _SAVE_EACH_S:
            self.save()
            self._drop_old()

    def save(self) -> None:
        """Writes how far the server is. Losing it costs sending again, nothing else."""
        self._saved_at = time.monotonic()
        place = [self.sent.segment, self.sent.offset, self.sent.sequence]
        state = {"sent": place, "bytes_end": self._bytes_end, "files": list(self._files.values())}
        with contextlib.suppress(OSError):
            _replace(self.folder / "state.json", json.dumps(state).encode())

    def close(self) -> None:
        self.writer.close()
        self.save()
        self.lock.release()

    def _drop_old(self) -> None:
        """Acknowledged segments stay for some days, in case the server is put back to a backup."""
        before = time.time() - self._keep_s
        for number in segment_numbers(self._journal)[:-2]:
            path = segment_path(self._journal, number)
            if number < self.sent.segment and path.stat().st_mtime < before:
                path.unlink(missing_ok=True)


def _seen(item: Record | Damage, end: int, files: dict[tuple[str, int], dict[str, Any]]) -> int:
    if not isinstance(item, Record) or item.kind is not Kind.DATA:
        return end
    meta = item.meta
    after = int(meta.get("at", 0)) + len(item.body)
    if "path" in meta:
        key = (meta["path"], meta.get("generation", 1))
        files.pop(key, None)  # the one read last stands last
        files[key] = {
            "path": key[0], "generation": key[1], **meta["file"], "byte_offset": after,
        }  # fmt: skip
    return after


def _name_of(path: Path) -> str:
    if path.exists():
        return path.read_text().strip()
    name = uuid4().hex
    _replace(path, name.encode())
    return name


def _load(path: Path) -> dict[str, Any]:
    try:
        state = json.loads(path.read_text())
    except (OSError, ValueError):
        return {}
    return state if isinstance(state, dict) else {}


def _replace(path: Path, data: bytes) -> None:
    fresh = path.with_suffix(".new")
    with fresh.open("wb") as handle:
        handle.write(data)
        handle.flush()
        os.fsync(handle.fileno())
    fresh.replace(path)
