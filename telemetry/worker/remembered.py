"""What is kept beside a source's journal so that it can be read while the database is away: its
description, and how far it had been read when that was written."""

from __future__ import annotations

import contextlib
import json
import logging
import os
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from telemetry.feeds.base import Known
from telemetry.journal import Position, Record, read
from telemetry.models import Cursor, Feed, SourcePosition
from telemetry.paths import journal_folder, journals_folder

log = logging.getLogger("telemetry.worker")
_FIELDS = ("id", "name", "table", "torch", "kind", "master", "version", "clock_version",
           "created_us")  # fmt: skip
_FILE = "source.json"


@dataclass(frozen=True, slots=True)
class Remembered:
    """A source as it was; `position` is how far its journal had been stored, `known` how far it
    had been read by then."""

    feed: Feed
    text: str
    position: Position
    known: Known

    def known_now(self) -> Known:
        """How far it has been read by what the journal holds behind that."""
        files = {(row["path"], row["generation"]): row for row in self.known.files}
        at, has_data = self.known.position, self.known.has_data
        folder = journal_folder(self.feed.name, "live")
        for item, _ in read(folder, self.position, unreadable={}):
            if not isinstance(item, Record):
                continue
            end = item.meta.get("at", 0) + len(item.body)
            if item.body:
                at, has_data = end, True
            if "path" in item.meta:
                key = item.meta["path"], item.meta.get("generation", 1)
                row = {**_EMPTY, "path": key[0], "generation": key[1], **item.meta["file"]}
                files[key] = {**row, "byte_offset": end}
        rows = sorted(files.values(), key=lambda row: row["generation"])
        return Known(at, has_data, tuple(rows))


_EMPTY = {"device": 0, "inode": "", "fingerprint": "", "byte_offset": 0, "prefix_hash": "",
          "changed_us": 0}  # fmt: skip


def remember(feed: Feed, text: str, position: Position, known: Known) -> None:
    """Writes it anew, whole or not at all. A full disk costs the note, nothing else."""
    values = {
        "feed": {name: getattr(feed, name) for name in _FIELDS},
        "text": text,
        "position": list(position),
        "known": {"position": known.position, "has_data": known.has_data, "files": known.files},
    }
    path = journals_folder() / feed.name / _FILE
    fresh = path.with_suffix(".new")
    try:
        with fresh.open("w") as handle:
            json.dump(values, handle)
            handle.flush()
            os.fsync(handle.fileno())
        fresh.replace(path)
    except OSError as error:
        log.warning("%s: what it is cannot be noted: %s", feed.name, error)


def remember_places(feed: Feed) -> None:
    """Brings the note up to what is stored by now."""
    found = recall(feed.name)
    cursor = Cursor.objects.filter(feed=feed, lane="live").first()
    if found is None or cursor is None:
        return
    position = Position(cursor.segment, cursor.byte_offset, cursor.sequence)
    if position == found.position:
        return
    at = int(cursor.state.get("bytes_end", 0))
    files = SourcePosition.objects.filter(feed=feed).order_by("generation").values()
    remember(feed, found.text, position, Known(at, at > 0, tuple(dict(row) for row in files)))


def recall(name: str) -> Remembered | None:
    """None where nothing is kept, or nothing that makes sense."""
    try:
        values: dict[str, Any] = json.loads((journals_folder() / name / _FILE).read_text())
        known = values["known"]
        return Remembered(
            Feed(**values["feed"]),
            values["text"],
            Position(*values["position"]),
            Known(known["position"], known["has_data"], tuple(known["files"])),
        )
    except (OSError, ValueError, KeyError, TypeError):
        return None


def recall_all() -> list[Remembered]:
    folder = journals_folder()
    names = sorted(path.name for path in folder.iterdir()) if folder.is_dir() else []
    return [found for name in names if (found := recall(name)) is not None]


def forget_others(names: set[str]) -> None:
    """Of sources that are no longer to be read, so that none is while the database is away."""
    for found in recall_all():
        if found.feed.name not in names:
            with contextlib.suppress(OSError):
                Path(journals_folder() / found.feed.name / _FILE).unlink()
