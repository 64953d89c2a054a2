"""From decoded batches to rows, each step one transaction.

Whatever the order in which lines came, what is stored equals the pairing of the sorted set of
distinct events: lines in order extend the last arc; late or backfilled ones have the range they
touch paired again.
"""

from __future__ import annotations

from telemetry.lanes.gathered import Gathered
from telemetry.store.commit import CursorMoved, EachAlone, commit
from telemetry.store.news import FeedMemory, News

__all__ = ["CursorMoved", "EachAlone", "FeedMemory", "Gathered", "News", "commit"]
