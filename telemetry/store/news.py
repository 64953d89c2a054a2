"""What one lane of a feed has to store, and what this process remembers of the feed."""

from __future__ import annotations

from typing import NamedTuple

from telemetry.lanes.gathered import Gathered
from telemetry.models import Feed
from telemetry.store.open_arcs import OpenArcs
from telemetry.store.rollups import DueBuckets

MANY = 5_000  # events of one feed that are better stored by themselves, with their sums


class FeedMemory:
    """What this process remembers of a feed between transactions: the arcs still open, the quarter
    hours whose sums were left for later (as the lane's cursor says too), and marks that show
    whether another process has written: by lane, the cursor's sequence and when it was saved."""

    def __init__(self) -> None:
        self.open_arcs: OpenArcs | None = None
        self.due = DueBuckets()
        self.marks: dict[str, tuple[int, int]] = {}

    def forget(self) -> None:
        """Has the open arcs read anew from the tables."""
        self.open_arcs = None


class News(NamedTuple):
    """`plain`: as `is_plain` found, so that it can be stored together with others."""

    feed: Feed
    lane: str
    gathered: Gathered
    memory: FeedMemory
    plain: bool = False


def is_plain(news: News) -> bool:
    """Whether these can be stored together with other feeds': events behind all others of a feed,
    or none, and nothing beside them. Brings the feed's open arcs to hand; nothing is locked, since
    whoever writes meanwhile is noticed by the marks in the transaction."""
    gathered, memory = news.gathered, news.memory
    events = gathered.events
    if news.lane not in memory.marks or len(events) > MANY or gathered.uneven:
        return False
    if not events:
        return True
    if memory.open_arcs is None:
        memory.open_arcs = OpenArcs(news.feed, pierces=gathered.pierces)
    memory.open_arcs.load(events.torches(), gathered.feed_version)
    return memory.open_arcs.follows(events.first[1], gathered.stream)
