"""Feed descriptions: FEED.toml as frozen dataclasses.

The keys are those of the feed format, and nothing else: an unknown key is an error that names
it, because a misspelt key that is quietly ignored changes what lines mean.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path


@dataclass(frozen=True, slots=True)
class Source:
    """Where lines come from. `port`/`baud` are for serial, `path` for the CSV kinds."""

    kind: str  # serial, csv_file, csv_folder, push
    port: str | None = None
    baud: int = 9600
    path: str | None = None


@dataclass(frozen=True, slots=True)
class Line:
    """How a line is put together."""

    format: str  # columns, pairs, json, level
    separator: str = ","
    columns: tuple[str, ...] = ()
    names: dict[str, str] = field(default_factory=dict)
    checksum: str = "none"
    encoding: str = "utf-8"
    decimal: str = "."
    on: tuple[str, ...] = ("1",)
    off: tuple[str, ...] = ("0",)
    debounce_s: float = 0.0


@dataclass(frozen=True, slots=True)
class Time:
    """Where times come from. `zone` is an IANA name for stamps without an offset."""

    source: str = "line"  # `from` in the file: line or arrival
    format: str = "iso"
    zone: str | None = None


@dataclass(frozen=True, slots=True)
class Knows:
    """What the source can tell; the rest is unknown, not zero."""

    contact: str | None = None  # torch_on, pilot, transfer
    pierces: bool = False


@dataclass(frozen=True, slots=True)
class Description:
    """One feed. `signals` maps the table's own word to an event kind (`events.KINDS`)."""

    table: str
    torch: str | None  # None where `torch` is a column
    source: Source
    line: Line
    time: Time
    signals: dict[str, int]
    knows: Knows
    window_s: float = 2.0

    @property
    def times_from_arrival(self) -> bool:
        """True where lines carry no stamp and the moment they came in stands for it."""
        return self.time.source == "arrival"


def parse_description(text: str, *, name: str = "FEED.toml") -> Description:
    """Read a description from TOML text. Raises DescriptionError naming `name`."""
    raise NotImplementedError


def read_description(path: Path) -> Description:
    """Read a description from a file. Raises DescriptionError."""
    raise NotImplementedError
