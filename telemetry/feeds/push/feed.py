from __future__ import annotations

import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from telemetry.description import Description
from telemetry.feeds.base import BLOCK_BYTES, Chunk, Known
from telemetry.feeds.limits import Limits
from telemetry.journal import Damage, Kind, Position, Record, read
from telemetry.journal.segments import segment_numbers, segment_path
from telemetry.paths import inbox_folder

_WAIT_S = 0.05
_PASSED_ON = (Kind.DATA, Kind.OPENED, Kind.END)
PREFIX = "push:"


class PushFeed:
    """What collectors delivered over the network, taken from the feed's inbox in their order.

    The inbox is a journal a collector, its records under the numbers the collector gave them. How
    far each has been taken goes into the feed's journal with the bytes, as with a file.
    """

    patient = True
    descriptor = -1
    unsettled = False

    def __init__(self, description: Description, *, name: str, limits: Limits) -> None:
        self._name = name
        self._inboxes: dict[str, _Inbox] = {}
        self._known = Known()
        self._first = True

    def check(self) -> None:
        """Nothing to configure: whoever holds the feed's token may deliver."""

    def open(self, known: Known) -> list[Chunk]:
        if self._first:
            self._known, self._first = known, False
        return []

    def read(self) -> list[Chunk]:
        folder = inbox_folder(self._name)
        for path in sorted(folder.iterdir()) if folder.is_dir() else []:
            if path.is_dir():
                chunks = self._inbox(path).turn()
                if chunks:
                    return chunks
        time.sleep(_WAIT_S)
        return []

    def close(self) -> None:
        """Nothing is held open."""

    def _inbox(self, path: Path) -> _Inbox:
        inbox = self._inboxes.get(path.name)
        if inbox is None:
            mine = [row for row in self._known.files if row["path"] == PREFIX + path.name]
            first_of_all = not self._known.has_data and not self._inboxes
            inbox = self._inboxes[path.name] = _Inbox(path, mine, first_of_all)
        return inbox


class _Inbox:
    """One collector's deliveries."""

    def __init__(self, folder: Path, rows: list[dict[str, Any]], first_of_all: bool) -> None:
        self._folder = folder
        self._position = position_of(rows[-1]) if rows else Position()
        self._takes_over = not rows and not first_of_all
        self._items: Iterator[tuple[Record | Damage, Position]] | None = None
        self._looked = (-1, -1)

    def turn(self) -> list[Chunk]:
        """The next records, some 256 KiB of them."""
        if not self._grew():
            return []
        chunks: list[Chunk] = []
        size = 0
        for item, position in read(self._folder, self._position):
            self._position = position
            if isinstance(item, Damage):
                chunks.append(self._chunk(Kind.OPENED, {"broken": True, "message": str(item)}, b""))
            elif item.kind in _PASSED_ON:
                if self._takes_over:
                    chunks.append(self._taking_over(item))
                chunks.append(self._passed_on(item))
                size += len(item.body)
            if size >= BLOCK_BYTES:
                break
        if (self._position.segment, self._position.offset) != self._looked:
            self._looked = (-1, -1)  # more, or a record that is being written
        self._drop()
        return chunks

    def _drop(self) -> None:
        """Lets go of segments long since in the feed's own journal: what the worker holds in
        memory is far less than the one segment that stays behind the one being read."""
        numbers = segment_numbers(self._folder)
        for number in numbers[:-2]:
            if number < self._position.segment - 1:
                segment_path(self._folder, number).unlink(missing_ok=True)

    def _grew(self) -> bool:
        """Whether there is anything new to look at; costs one look at the folder."""
        numbers = segment_numbers(self._folder)
        if not numbers:
            return False
        now = (numbers[-1], segment_path(self._folder, numbers[-1]).stat().st_size)
        if now == self._looked:
            return False
        self._looked = now
        return True

    def _passed_on(self, record: Record) -> Chunk:
        meta = {name: record.meta[name] for name in _KEPT if name in record.meta}
        if "source" in meta:
            meta["source"] = f"{self._folder.name[:8]}:{meta['source']}"
        return self._chunk(record.kind, {**meta, "came_us": record.utc_us}, record.body)

    def _taking_over(self, record: Record) -> Chunk:
        """Another collector's bytes came before. A file it reads begins anew; a port goes on."""
        self._takes_over = False
        again = "path" in record.meta or bool(record.meta.get("fresh"))
        return Chunk(Kind.OPENED, {"fresh": True} if again else {"broken": True})

    def _chunk(self, kind: Kind, meta: dict[str, Any], body: bytes) -> Chunk:
        place = self._position
        file = {"inode": f"{place.segment}.{place.offset}", "prefix_hash": str(place.sequence)}
        return Chunk(kind, {**meta, "path": PREFIX + self._folder.name, "file": file}, body)


_KEPT = ("source", "at", "broken", "fresh", "rotated", "message")


def position_of(row: dict[str, Any]) -> Position:
    segment, offset = row["inode"].split(".")
    return Position(int(segment), int(offset), int(row["prefix_hash"]))
