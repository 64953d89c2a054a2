"""What every kind of source does."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any, Protocol

from telemetry.description import Description
from telemetry.feeds.limits import Limits
from telemetry.journal import Kind

BLOCK_BYTES = 256 * 1024


@dataclass(frozen=True, slots=True)
class Chunk:
    """One journal record to be: bytes with where they stand in their source, or a turn of events.

    `meta` of DATA: `source` (a name; line numbers begin again where it changes), `at` (offset of
    the first byte), for files also `path`, `generation`, `file`. Of OPENED: `broken` (a half line
    of before stays half), `message` (what was missed), `fresh` (read again from the start),
    `lost` (lines are missing: a case for an alarm).
    """

    kind: Kind
    meta: dict[str, Any] = field(default_factory=dict)
    body: bytes = b""


@dataclass(frozen=True, slots=True)
class Known:
    """What intake holds of a source already, from the rows of its last commit.

    `position` is the offset behind the last byte journalled, for sources that have no offsets
    of their own; `files` the rows of SourcePosition as dictionaries, oldest first.
    """

    position: int = 0
    has_data: bool = False
    files: tuple[dict[str, Any], ...] = ()


class ByteSource(Protocol):
    """A source of bytes. It only ever reads."""

    @property
    def unsettled(self) -> bool:
        """True where it must look again before it can say what has come (a file being replaced)."""

    descriptor: int  # that of an open source whose bytes the system announces, else -1
    patient: bool  # True where the source waits for us (a file); False where bytes would be lost

    def __init__(self, description: Description, *, name: str, limits: Limits) -> None: ...

    def check(self) -> None:
        """Looks at the configuration alone; raises DescriptionError."""

    def open(self, known: Known) -> list[Chunk]:
        """Opens within its limits; raises SourceError, whose `retry` says if waiting helps."""

    def read(self) -> list[Chunk]:
        """What has come, soon: it waits 50 ms at most. Raises SourceError when the link is gone."""

    def close(self) -> None:
        """Lets go; never raises."""
