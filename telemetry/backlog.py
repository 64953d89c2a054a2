"""How much waits on disk: journal not yet stored, deliveries not yet taken into the journal."""

from __future__ import annotations

import contextlib
from collections.abc import Iterable
from pathlib import Path
from typing import Any

from telemetry.feeds.push.feed import PREFIX, position_of
from telemetry.journal import Position
from telemetry.journal.segments import HEAD, segment_numbers, size_of
from telemetry.lanes.lane import LANES
from telemetry.models import Cursor, Feed, SourcePosition
from telemetry.paths import inbox_folder, journal_folder


def backlog_bytes(feeds: Iterable[Feed]) -> dict[int, int]:
    """By feed id. Two queries for all, and a look at the sizes of the files."""
    feeds = list(feeds)
    cursors: dict[tuple[int, str], Position] = {
        (feed_id, lane): Position(segment, offset)
        for feed_id, lane, segment, offset in Cursor.objects.filter(feed__in=feeds).values_list(
            "feed_id", "lane", "segment", "byte_offset"
        )
    }
    taken: dict[tuple[int, str], dict[str, Any]] = {
        (row["feed_id"], row["path"]): dict(row)
        for row in SourcePosition.objects.filter(feed__in=feeds, path__startswith=PREFIX).values()
    }
    found = {}
    for feed in feeds:
        waiting = sum(
            _behind(journal_folder(feed.name, lane), cursors.get((feed.pk, lane), Position()))
            for lane in LANES
        )
        inbox = inbox_folder(feed.name)
        for folder in inbox.iterdir() if inbox.is_dir() else []:
            if folder.is_dir():
                row = taken.get((feed.pk, PREFIX + folder.name))
                waiting += _behind(folder, position_of(row) if row else Position())
        found[feed.pk] = waiting
    return found


def _behind(folder: Path, position: Position) -> int:
    waiting = 0
    for number in segment_numbers(folder):
        if number >= position.segment:
            start = position.offset if number == position.segment else len(HEAD)
            with contextlib.suppress(OSError):  # compressed just now, or not to be read at all
                waiting += max(0, size_of(folder, number) - max(start, len(HEAD)))
    return waiting
