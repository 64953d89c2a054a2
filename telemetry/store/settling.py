"""Sums left for later, brought up to date for a few feeds in one transaction and few statements."""

from __future__ import annotations

from collections.abc import Sequence

from django.db import connection, transaction

from telemetry.models import Feed
from telemetry.store.commit import FeedMemory, lock_feeds
from telemetry.store.rollups import DueBuckets, recompute


def settle(every: Sequence[tuple[Feed, str, FeedMemory]]) -> None:
    """Brings the buckets left for later by these lanes up to the arcs, in one transaction."""
    with transaction.atomic():
        lock_feeds(sorted({feed.pk for feed, _, _ in every}))
        recompute([some for feed, _, keeper in every for some in keeper.due.stretches(feed.pk)])
        _note_settled([(feed.pk, lane) for feed, lane, _ in every])
    for _, _, keeper in every:
        keeper.due = DueBuckets()


def _note_settled(lanes: Sequence[tuple[int, str]]) -> None:
    without = "json_remove(state, '$.due')" if connection.vendor == "sqlite" else "state - 'due'"
    with connection.cursor() as cursor:
        cursor.execute(
            f"UPDATE telemetry_cursor SET state = {without} WHERE "
            + " OR ".join(["feed_id = %s AND lane = %s"] * len(lanes)),
            [value for lane in lanes for value in lane],
        )
