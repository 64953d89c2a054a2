"""What intake keeps. Tables and torches are known by their codes only, so that intake can run alone
beside a table. Instants are integer microseconds since 1970 UTC."""

from __future__ import annotations

from telemetry.models.arcs import Arc, GoneArc, Rollup, Stray
from telemetry.models.feeds import ClockOffset, CountedSpan, Feed, FeedVersion, PushToken
from telemetry.models.positions import Alarm, Cursor, Health, SourcePosition
from telemetry.models.records import Event, Gap, Reject, Repeat

__all__ = [
    "Alarm",
    "Arc",
    "ClockOffset",
    "CountedSpan",
    "Cursor",
    "Event",
    "Feed",
    "FeedVersion",
    "Gap",
    "GoneArc",
    "Health",
    "PushToken",
    "Reject",
    "Repeat",
    "Rollup",
    "SourcePosition",
    "Stray",
]
