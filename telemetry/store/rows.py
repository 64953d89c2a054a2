"""Rows as their tables hold them, and what moves a cursor."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import repeat
from typing import Any, Final, NamedTuple

from telemetry.arcs import pairing
from telemetry.arcs.pairing_columns import ManyArcs
from telemetry.decode.row_blocks import but_nan
from telemetry.events import ARC_OFF
from telemetry.models import Feed

EVENT_COLUMNS: Final = (
    "feed_id, key, at_us, seq, tie, torch, kind, number, text, stamp, received_us, "
    "feed_version, clock_version"
)
ARC_COLUMNS: Final = (
    'key, feed_id, "table", torch, on_us, off_us, ended, pierces, first_pierce_us, program, '
    "amps, volts, feed_version, clock_version"
)
ARC_FIELDS: Final = ARC_COLUMNS.split(", ")


class AlreadyStored(Exception):
    """An event that should be new is there: the transaction or savepoint is to be undone."""


class ArcRow(NamedTuple):
    """One row of the arc table but for its id and the instant it changed."""

    key: str
    feed_id: int
    table: str
    torch: str
    on_us: int
    off_us: int | None
    ended: str
    pierces: int | None
    first_pierce_us: int | None
    program: str | None
    amps: float | None
    volts: float | None
    feed_version: int
    clock_version: int


def arc_row(feed: Feed, arc: pairing.Arc, table: str, versions: tuple[int, int]) -> ArcRow:
    """`table` and `versions` (of description and clock) are those its beginning was read under."""
    return ArcRow(
        f"{feed.name}|{arc.torch}|{arc.key}", feed.pk, table, arc.torch, arc.on_us,
        arc.off_us, arc.ended, arc.pierces, arc.first_pierce_us, arc.program, arc.amps,
        arc.volts, *versions,
    )  # fmt: skip


@dataclass(frozen=True, slots=True)
class NewArcs:
    """Arcs of one feed that ended, none stored yet, of lines timed by no corrected clock."""

    feed: Feed
    arcs: ManyArcs
    table: str
    feed_version: int

    def __len__(self) -> int:
        return len(self.arcs)

    def rows(self) -> list[ArcRow]:
        """One by one."""
        return [*map(ArcRow._make, self.columns())]

    def columns(self) -> Iterator[tuple[Any, ...]]:
        """The fields of each row."""
        arcs, feed = self.arcs, self.feed
        text = arcs.keys.tobytes().hex()
        head = f"{feed.name}|{arcs.torch}|"
        pierces = repeat(None) if arcs.pierces is None else arcs.pierces.tolist()
        first_us = [None if us < 0 else us for us in arcs.first_pierces_us.tolist()]
        return zip(
            [head + text[at : at + 32] for at in range(0, len(text), 32)], repeat(feed.pk),
            repeat(self.table), repeat(arcs.torch), arcs.on_us.tolist(), arcs.off_us.tolist(),
            ["lost" if is_lost else "off" for is_lost in arcs.lost.tolist()], pierces, first_us,
            [arcs.names[place] for place in arcs.programs.tolist()], but_nan(arcs.amps),
            but_nan(arcs.volts), repeat(self.feed_version), repeat(0),
        )  # fmt: skip


StrayRow = tuple[int, str, int, str, str]  # feed_id, torch, at_us, "off" or "pierce", event's key


def stray_row(feed: Feed, torch: str, at_us: int, kind: int, key: str) -> StrayRow:
    """`kind` is the event's."""
    return feed.pk, torch, at_us, "off" if kind == ARC_OFF else "pierce", key


class CursorUpdate(NamedTuple):
    """Where a lane's cursor goes, `state` as JSON text, and by how much its counts grow."""

    feed_id: int
    lane: str
    sequence: int
    segment: int
    offset: int
    state: str
    lines: int
    events: int
    known: int
    last_line_us: int | None
