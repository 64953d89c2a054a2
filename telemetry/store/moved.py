"""What the ways of committing live news have in common."""

from __future__ import annotations

from typing import NamedTuple


class ArcGone(Exception):
    """An arc that is open here is not there: somebody else wrote."""


class Moved(NamedTuple):
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
