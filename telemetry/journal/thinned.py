"""What is left of journal segments that were deleted for their age: a small record, one a source.

It holds what decoding goes on from (a lane's state where the kept segments begin), the hash of each
deleted segment, and a digest of the rows that only they could prove. Its own SHA-256 stands in it.
"""

from __future__ import annotations

import copy
import hashlib
import json
import os
from dataclasses import asdict, dataclass, field
from pathlib import Path
from typing import Any

from telemetry.errors import TelemetryError
from telemetry.journal.reader import Position
from telemetry.journal.segments import HEAD, sync_folder

_NAME = "thinned.json"


class ThinnedError(TelemetryError):
    """The record is not as it was written: nothing may be rebuilt or proved from it."""


@dataclass(frozen=True, slots=True)
class Lane:
    """One lane: its kept segments begin with `segment`, their records with `sequence`. `lines` were
    in the deleted ones, the last of which came in at `came_us`. `segments` says of each deleted one
    its number, first and last record, bytes, SHA-256, and when it was deleted (UTC)."""

    segment: int = 1
    sequence: int = 1
    state: dict[str, Any] = field(default_factory=dict)
    lines: int = 0
    came_us: int = -1
    segments: list[dict[str, Any]] = field(default_factory=list)

    @property
    def position(self) -> Position:
        return Position(self.segment, len(HEAD), self.sequence) if self.segments else Position()

    def fresh_state(self) -> dict[str, Any]:
        """A copy: whoever decodes on from a state changes it."""
        return copy.deepcopy(self.state)


@dataclass(frozen=True, slots=True)
class Rows:
    """How many rows, and a sum of their hashes whatever order they come in."""

    count: int = 0
    digest: str = "0" * 32


@dataclass(frozen=True, slots=True)
class Thinned:
    """A source's record; an empty one says that nothing was deleted."""

    lanes: dict[str, Lane] = field(default_factory=dict)
    events: Rows = field(default_factory=Rows)
    rejects: Rows = field(default_factory=Rows)

    def lane(self, name: str) -> Lane:
        return self.lanes.get(name, Lane())

    @property
    def came_us(self) -> int:
        """When the last deleted line came in; -1 where none was deleted."""
        return max((lane.came_us for lane in self.lanes.values()), default=-1)


def thinned_read(folder: Path) -> Thinned:
    """The record of a source's journal folder. Raises ThinnedError."""
    path = folder / _NAME
    try:
        whole = json.loads(path.read_text())
        said = whole["said"]
        if whole["sha256"] != _sha256(said):
            raise ThinnedError(f"{path}: is not as it was written")
        return Thinned(
            {name: Lane(**lane) for name, lane in said["lanes"].items()},
            Rows(**said["events"]),
            Rows(**said["rejects"]),
        )
    except FileNotFoundError:
        return Thinned()
    except (ValueError, KeyError, TypeError) as error:
        raise ThinnedError(f"{path}: is not as it was written ({error})") from error


def thinned_write(folder: Path, thinned: Thinned) -> None:
    """On disk for good when it returns, or the one before still is. Raises OSError."""
    said = asdict(thinned)
    path = folder / _NAME
    part = path.with_suffix(".part")
    with part.open("w") as handle:
        json.dump({"sha256": _sha256(said), "said": said}, handle)
        handle.flush()
        os.fsync(handle.fileno())
    part.replace(path)
    sync_folder(folder)


def _sha256(said: Any) -> str:
    text = json.dumps(said, sort_keys=True, separators=(",", ":"))
    return hashlib.sha256(text.encode()).hexdigest()
