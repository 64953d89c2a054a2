"""What a stretch of journal decoded to, waiting for its transaction. Pure."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

from telemetry.events import Event, Gap, Reject
from telemetry.journal import Damage, Position


@dataclass(frozen=True, slots=True)
class Clock:
    """One version of a feed's clock offset, in force for raw stamps from `from_us` on in lines
    that arrived from `heard_from_us` on."""

    version: int = 0
    offset_us: int = 0
    from_us: int | None = None
    heard_from_us: int | None = None

    def reaches(self, raw_us: int, arrival_us: int) -> bool:
        if self.heard_from_us is not None and arrival_us < self.heard_from_us:
            return False
        return self.from_us is None or raw_us >= self.from_us


@dataclass(slots=True)
class Gathered:
    """Rows to be, and where the lane stands once they are stored.

    `events` are (event, tie) in order, their times already corrected by `clock`; `late` are
    those out of order. `reread` says that the source is being read again from its start: what
    is stored already is then no news and counts nowhere. `repeats` holds, by key, how often a
    numbered line came again: (in this stretch, in its stream so far).
    """

    start: Position
    end: Position
    stream: str
    reread: bool
    feed_version: int
    clock: Clock
    events: list[tuple[Event, int]] = field(default_factory=list)
    late: list[tuple[Event, int]] = field(default_factory=list)
    clock_versions: dict[str, int] = field(default_factory=dict)
    rejects: list[tuple[str, Reject]] = field(default_factory=list)
    gaps: list[Gap] = field(default_factory=list)
    link_gaps: list[tuple[int, str]] = field(default_factory=list)
    repeats: dict[str, tuple[int, int]] = field(default_factory=dict)
    damages: list[Damage] = field(default_factory=list)
    new_version: int | None = None
    new_clock: Clock | None = None
    began_us: int = 0
    lines: int = 0
    last_line_us: int | None = None
    sources: dict[tuple[str, int], dict[str, Any]] = field(default_factory=dict)
    state: dict[str, Any] = field(default_factory=dict)
    stored: int = 0

    @property
    def any(self) -> bool:
        """True where there is something to commit."""
        return self.end != self.start or bool(self.events or self.late or self.rejects)

    @property
    def full(self) -> bool:
        """True where the transaction should not wait for more."""
        return len(self.events) + len(self.late) + len(self.rejects) >= CHUNK


CHUNK = 50_000
