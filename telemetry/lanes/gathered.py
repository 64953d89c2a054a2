"""What a stretch of journal decoded to, waiting for its transaction. Pure."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any, NamedTuple

from telemetry.decode.row_blocks import AnyRow
from telemetry.decode.row_list import Rows
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


def clock_at(clocks: list[Clock], raw_us: int, arrival_us: int) -> Clock:
    """The offset in force for a raw stamp: of those that reach it, the latest version."""
    for clock in reversed(clocks):
        if clock.reaches(raw_us, arrival_us):
            return clock
    return Clock()


class Row(NamedTuple):
    """An event as its table holds it, but for the feed. `seq` is -1 where the source numbers no
    lines; `tie` orders lines of one instant that have no number."""

    key: bytes
    at_us: int
    seq: int
    tie: int
    torch: str
    kind: int
    number: float | None
    text: str | None
    stamp: str
    received_us: int
    feed_version: int
    clock_version: int


def row_of(event: Event, tie: int, feed_version: int, clock_version: int) -> Row:
    return Row(
        bytes.fromhex(event.key), event.time_us, -1 if event.seq is None else event.seq, tie,
        event.torch, event.kind, event.value, event.text, event.raw_stamp[:64],
        event.arrival_us or 0, feed_version, clock_version,
    )  # fmt: skip


@dataclass(slots=True)
class Gathered:
    """Rows to be, and where the lane stands once they are stored.

    `events` are rows in order, their times already corrected by the clock; `late` those out of
    order. `reread` says that the source is being read again from its start: what
    is stored already is then no news and counts nowhere. `repeats` holds, by key, how often a
    numbered line came again: (in this stretch, in its stream so far).
    """

    start: Position
    end: Position
    stream: str
    reread: bool
    feed_version: int
    clock: Clock
    pierces: bool = True  # whether the source can know them
    several: bool = False  # whether a line can give more events than its edge
    events: Rows = field(default_factory=Rows)
    late: list[AnyRow] = field(default_factory=list)
    rejects: list[tuple[str, Reject]] = field(default_factory=list)
    gaps: list[Gap] = field(default_factory=list)
    link_gaps: list[tuple[int, str]] = field(default_factory=list)
    alarms: list[str] = field(default_factory=list)  # lines that are missing for good
    repeats: dict[str, tuple[int, int]] = field(default_factory=dict)
    damages: list[Damage] = field(default_factory=list)
    new_version: int | None = None
    new_text: tuple[int, str] | None = None  # a version of the description, as the journal has it
    new_clock: Clock | None = None
    began_us: int = 0
    lines: int = 0
    last_line_us: int | None = None
    sources: dict[tuple[str, int], dict[str, Any]] = field(default_factory=dict)
    state: dict[str, Any] = field(default_factory=dict)

    def keep_from(self, from_us: int) -> None:
        """Leaves only events of an instant or later."""
        self.events = Rows([[row for row in self.events if row[1] >= from_us]])
        self.late = [row for row in self.late if row[1] >= from_us]

    @property
    def any(self) -> bool:
        """True where there is something to commit."""
        return self.end != self.start or bool(self.events or self.late or self.rejects)

    @property
    def bare(self) -> bool:
        """True where there is nothing but how far the journal was read."""
        kept = (
            self.events, self.late, self.rejects, self.gaps, self.link_gaps, self.repeats,
            self.damages, self.lines, self.sources,
        )  # fmt: skip
        return not any(kept) and self.new_text is None and self.new_clock is None

    @property
    def uneven(self) -> bool:
        """True where there is more than events in order behind those before."""
        beside = (
            self.late, self.rejects, self.gaps, self.link_gaps, self.repeats, self.damages,
            self.sources, self.new_text, self.new_clock, self.reread,
        )  # fmt: skip
        return any(beside)

    @property
    def full(self) -> bool:
        """True where the transaction should not wait for more."""
        return len(self.events) + len(self.late) + len(self.rejects) >= CHUNK


CHUNK = 50_000  # rows a transaction
