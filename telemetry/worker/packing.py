"""Compresses what of the journals is closed and stored, a little at a time."""

from __future__ import annotations

import logging
from collections.abc import Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from pathlib import Path

from telemetry.journal.segments import pack, packable
from telemetry.models import Cursor, Feed
from telemetry.paths import journal_folder

log = logging.getLogger("telemetry.worker")
_pool = ThreadPoolExecutor(1, thread_name_prefix="packing")


def pack_some(feeds: Sequence[Feed]) -> Future[None]:
    """One segment of each lane, on a thread beside: nothing waits for it. A segment counts as
    stored once the lane's cursor, saved with the rows, stands in a later one."""
    by_id = {feed.pk: feed for feed in feeds}
    stored = [
        (journal_folder(by_id[feed_id].name, lane), segment)
        for feed_id, lane, segment in Cursor.objects.filter(feed__in=feeds).values_list(
            "feed_id", "lane", "segment"
        )
    ]
    return _pool.submit(_pack, stored)


def _pack(stored: Sequence[tuple[Path, int]]) -> None:
    for folder, segment in stored:
        try:
            for number in packable(folder, segment)[:1]:
                pack(folder, number)
        except Exception as error:
            # A full disk, say. The plain segment stays, and is tried again.
            log.warning("%s: a segment stays uncompressed: %s", folder, error)
