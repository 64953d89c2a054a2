"""The journal: what a feed gave, byte for byte, before anything is made of it.

One folder a feed and lane (live, backfill), segments of records in it. A record is on disk
(fdatasync, or syncfs for many at once) before its bytes count as taken in, and everything that
affects decoding is a record too, so that reading a journal again gives the same events.
"""

from __future__ import annotations

from telemetry.journal.judge import Judged, Span, judge
from telemetry.journal.reader import Damage, Position, read
from telemetry.journal.recent import Recent
from telemetry.journal.record import Kind, Record
from telemetry.journal.writer import JournalError, Writer

__all__ = [
    "Damage",
    "JournalError",
    "Judged",
    "Kind",
    "Position",
    "Recent",
    "Record",
    "Span",
    "Writer",
    "judge",
    "read",
]
