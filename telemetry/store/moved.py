"""What the ways of committing live news have in common."""

from __future__ import annotations

from collections.abc import Iterable
from typing import NamedTuple

from telemetry.events import ARC_OFF

Stray = tuple[int, str, int, int, str]  # feed_id, torch, at_us, kind of the event, key
STRAY_COLUMNS = "feed_id, torch, at_us, kind, event_key"


def stray_rows(strays: Iterable[Stray]) -> list[tuple[int, str, int, str, str]]:
    """As their table holds them."""
    return [
        (feed_id, torch, at_us, "off" if kind == ARC_OFF else "pierce", key)
        for feed_id, torch, at_us, kind, key in strays
    ]


class OpenArcMissing(Exception):
    """An arc that is open here is not there: somebody else wrote."""


class CursorUpdate(NamedTuple):
    """Where a lane's cursor goes. `state` is JSON text."""

    feed_id: int
    lane: str
    sequence: int
    segment: int
    offset: int
    state: str
    lines: int
    events: int
    last_line_us: int | None
