"""What a terminal's clock is off, from when it says it sent something and when that arrived, and
which of its clock's settings an entry was made by."""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from shopfloor.models import Terminal

# A delivery's way takes time, which makes a clock look slow by as much: within this the terminal's
# known offset is better than one delivery's. Our assumption.
NETWORK = timedelta(seconds=5)
MS = timedelta(milliseconds=1)
MOST_MS = 10 * 365 * 24 * 3_600_000  # what no clock is off, and no entry is old


@dataclass(frozen=True, slots=True)
class Readings:
    """What a device noted beside an entry's time. `age_ms`: how long ago it was by the counter of
    the page, which nobody sets (it may stand still while the device sleeps or shows no page).
    `known_ms`: how far the device's clock was ahead when the server was last reached before.
    None: not noted."""

    age_ms: int | None = None
    known_ms: int | None = None


def readings_of(envelope: dict[str, Any]) -> Readings:
    return Readings(_whole(envelope.get("age_ms")), _whole(envelope.get("known_ms")))


def offset_at_entry_ms(
    device_at: datetime, *, offset_ms: int, readings: Readings, now: datetime
) -> int:
    """How far the device was ahead when an entry was made, where its clock may have been set since
    (`offset_ms` is how far it is ahead now). The counter cannot run fast, so of what the two
    settings give the one holds that is no later than the counter says and nearest to it."""
    if readings.age_ms is None:
        return offset_ms
    counted = now - max(readings.age_ms, 0) * MS
    found = [offset_ms] if readings.known_ms is None else [offset_ms, readings.known_ms]
    times = {one: device_at - one * MS for one in found}
    possible = [one for one in found if times[one] <= counted + NETWORK]
    if possible:
        return max(possible, key=lambda one: times[one])
    return round((device_at - counted) / MS)


def _whole(value: Any) -> int | None:
    if isinstance(value, bool) or not isinstance(value, int | float) or not math.isfinite(value):
        return None
    return round(value) if abs(value) <= MOST_MS else None


def offset_ms_of(*, terminal: Terminal | None, sent_at: datetime | None, now: datetime) -> int:
    """Milliseconds the device is ahead of us (negative: behind), by this delivery, and keeps it on
    the terminal. A delay in the network can only make the device look slower than it is, so of
    two readings that could be one clock the faster holds. Without `sent_at`: what is known of the
    terminal, else 0."""
    known = terminal.clock_offset_ms if terminal else None
    if sent_at is None:
        return known or 0
    seen = round((sent_at - now) / timedelta(milliseconds=1))
    if known is not None and 0 <= known - seen <= NETWORK / timedelta(milliseconds=1):
        return known
    if terminal is not None:
        terminal.clock_offset_ms = seen
        terminal.save(update_fields=["clock_offset_ms"])
    return seen
