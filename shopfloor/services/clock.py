"""What a terminal's clock is off, from when it says it sent something and when that arrived."""

from __future__ import annotations

from datetime import datetime, timedelta

from shopfloor.models import Terminal

# A delivery's way takes time, which makes a clock look slow by as much: within this the terminal's
# known offset is better than one delivery's. Our assumption.
NETWORK = timedelta(seconds=5)


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
