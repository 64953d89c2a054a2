"""The records that decoding makes: events, rejects, gaps and duplicates.

Times are integer microseconds since 1970-01-01T00:00:00Z. Keys are 32 hex digits.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Final, NamedTuple

from telemetry.said import noop as N_

if TYPE_CHECKING:  # who only collects lines needs no arrays
    from telemetry.decode.row_blocks import ColumnBlock

ARC_ON: Final = 1
ARC_OFF: Final = 2
PIERCE: Final = 3
PROGRAM: Final = 4
SAMPLE_A: Final = 5
SAMPLE_V: Final = 6

KIND_NAMES: Final[dict[int, str]] = {
    ARC_ON: "arc_on",
    ARC_OFF: "arc_off",
    PIERCE: "pierce",
    PROGRAM: "program",
    SAMPLE_A: "sample_a",
    SAMPLE_V: "sample_v",
}
KINDS: Final[dict[str, int]] = {name: kind for kind, name in KIND_NAMES.items()}

UNKNOWN: Final = 0  # value of a pierce event: how often its arc pierced cannot be known

# Characters that the tables hold.
LONGEST_TORCH: Final = 20
LONGEST_PROGRAM: Final = 200

# Bits of Event.flags.
AMBIGUOUS_TIME: Final = 1  # local time inside the repeated autumn hour, told apart by order
LEAP_SECOND: Final = 2  # stamped :60, filed at the following second as POSIX time does
LATE: Final = 4  # older than the reorder window; arcs around it must be worked out again

# Why a line could not be read: stable codes that are stored, and their own labels.
REASONS: Final = (
    N_("not text"),  # not the stated encoding, or control characters in it
    N_("utf-16"),  # the source begins with a UTF-16 byte-order mark
    N_("too long"),  # over lines.MAX_LINE_BYTES
    N_("half line"),  # cut off by a disconnect
    N_("bad checksum"),
    N_("no checksum"),
    N_("too few columns"),
    N_("too many columns"),
    N_("bad quoting"),
    N_("bad pair"),
    N_("bad json"),
    N_("missing field"),
    N_("unknown signal"),
    N_("unknown level"),
    N_("bad seq"),
    N_("bad time"),
    N_("time out of range"),
    N_("no such local time"),  # inside the hour that spring skips
    N_("bad value"),
    N_("no torch"),
    N_("too late"),  # a level poll too old to say where its edge was
)


class Event(NamedTuple):
    """One decoded line, or what a poll says beside its level.

    `time_us` is the line's own stamp in UTC, or its arrival where the feed has no stamp.
    `raw_stamp` is the stamp as written, "" where there is none. `value` is amps or volts of a
    sample, or how many pierces were counted where that is not one (UNKNOWN: nobody can say);
    `text` the name of a program. Of a poll on its way to `edges` they are its amps and its
    counter's digits. `session` counts restarts of the device's `seq` seen by this decoder. `line`
    is the 1-based line number in `source`, `position` the byte offset of its first byte as the
    caller counts it.
    """

    key: str
    time_us: int
    kind: int
    torch: str
    seq: int | None
    session: int
    raw_stamp: str
    value: float | None
    text: str | None
    flags: int
    position: int
    line: int
    arrival_us: int | None
    source: str


class Reject(NamedTuple):
    """One line that could not be read. `raw` is cut at lines.KEEP_BYTES, `text` is for people."""

    line: int
    position: int
    source: str
    reason: str
    message: str
    raw: bytes
    arrival_us: int | None

    @property
    def text(self) -> str:
        """The line as a person can read it, bytes that are not text as `\\x` escapes."""
        return self.raw.decode("utf-8", "backslashreplace").replace("\x00", "\\x00")


class Gap(NamedTuple):
    """Lines the device counted and nobody received: `after_seq` < missing < `before_seq`."""

    session: int
    after_seq: int
    before_seq: int
    time_us: int  # of the line that showed it
    position: int


class Duplicate(NamedTuple):
    """A line whose `seq` had been seen in the same session."""

    line: int
    position: int
    source: str
    session: int
    seq: int
    key: str


@dataclass(slots=True)
class Batch:
    """What one call to the decoder released.

    `events` are in order and never go back behind what earlier batches released. `late` are
    distinct events older than the reorder window, flagged LATE: they may repeat a key decoded
    long before (then they are duplicates; take `events` first, the first of the two may be
    among them), and arcs from their time on must be worked out again. `lines` counts lines with
    content that this call completed; header lines are not counted. `repeats` counts level polls
    that were no edge of their own, though one may have given a pierce. `runs` take the
    place of `events` in bulk.
    """

    events: list[Event] = field(default_factory=list)
    late: list[Event] = field(default_factory=list)
    rejects: list[Reject] = field(default_factory=list)
    gaps: list[Gap] = field(default_factory=list)
    duplicates: list[Duplicate] = field(default_factory=list)
    lines: int = 0
    repeats: int = 0
    runs: list[Run] = field(default_factory=list)


@dataclass(frozen=True, slots=True)
class Run:
    """Events of a batch in bulk: those before the plain lines, then the plain lines.

    A decoder that may give runs gives all events in order in them, and none in `events`.
    """

    events: list[Event]
    lines: ColumnBlock | None
    arrival_us: int | None = None
    session: int = 0


def order_of(event: Event) -> tuple[int, int, int, int]:
    """Sort key: by time, then session and seq, then position."""
    seq = -1 if event.seq is None else event.seq
    return event.time_us, event.session, seq, event.position
