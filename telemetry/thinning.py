"""Deletes journal segments older than the shop wants to keep, and leaves what proves their rows.

Only whole segments go, from the start of a lane: closed, packed, and stored, so behind the lane's
cursor. First the record of what they held is on disk (`journal/thinned.py`), then they go; killed
between the two, the next time lets go of what is left.
"""

from __future__ import annotations

import contextlib
import hashlib
import tempfile
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from django.conf import settings

from telemetry.journal import Position, Record, read
from telemetry.journal.judge import came_us
from telemetry.journal.segments import HEAD, packed_path, segment_numbers, segment_path
from telemetry.journal.thinned import Lane as ThinnedLane
from telemetry.journal.thinned import Rows, Thinned, thinned_read, thinned_write
from telemetry.lanes.lane import Lane
from telemetry.locks import Busy, Lock
from telemetry.models import Cursor, Feed
from telemetry.paths import feed_folder, journal_folder
from telemetry.verify.beyond import Beyond
from telemetry.verify.replay import Replayed, Stored, lasting
from telemetry.verify.sorting import compare
from telemetry.verify.view import one_view
from telemetry.worker.lane_runner import versions_of

_TAIL = 2  # segments a writer reads when it opens


def thin(feed: Feed, before_us: int, now: datetime) -> int:
    """Thins the journal of one feed; returns how many segments went, none while a backup copies
    the journals. For a feed that was just verified without a fault. Raises OSError, with nothing
    lost."""
    try:
        lock = Lock(thinning_lock(Path(settings.DATA_DIR)), "the journal", "copied")
    except Busy:
        return 0
    try:
        return _thin(feed, before_us, now)
    finally:
        lock.release()


def thinning_lock(folder: Path) -> Path:
    """Held by who thins a journal, shared by those who copy journals: a copy of which segments
    went half way through has a gap that no record explains."""
    return folder / "thinning.lock"


def _thin(feed: Feed, before_us: int, now: datetime) -> int:
    folder = feed_folder(feed.name)
    thinned = thinned_read(folder)
    with one_view():
        cursors = list(Cursor.objects.filter(feed=feed).order_by("lane"))
        lanes = dict(thinned.lanes)
        for cursor in cursors:
            old = _old_segments(feed, cursor, thinned.lane(cursor.lane), before_us)
            if old:
                lanes[cursor.lane] = _without(feed, cursor, thinned.lane(cursor.lane), old, now)
        if lanes != thinned.lanes:
            thinned = _with_rows(feed, cursors, replace(thinned, lanes=lanes))
            thinned_write(folder, thinned)
    return sum(_delete(journal_folder(feed.name, name), lane) for name, lane in lanes.items())


def _old_segments(feed: Feed, cursor: Cursor, kept: ThinnedLane, before_us: int) -> list[int]:
    """Those that can go, in order."""
    folder = journal_folder(feed.name, cursor.lane)
    numbers = [n for n in segment_numbers(folder) if n >= kept.segment]
    found: list[int] = []
    for number in numbers[:-_TAIL]:
        is_packed = packed_path(folder, number).exists() and not _plain(folder, number)
        if number >= cursor.segment or not is_packed:
            break
        if max((r.utc_us for r in _records(folder, number)), default=0) >= before_us:
            break
        found.append(number)
    return found


def _plain(folder: Path, number: int) -> bool:
    return segment_path(folder, number).exists()


def _records(folder: Path, number: int) -> list[Record]:
    start, end = Position(number, 0, 0), Position(number, 0, 1 << 62)
    return [item for item, _ in read(folder, start, end) if isinstance(item, Record)]


def _without(
    feed: Feed, cursor: Cursor, kept: ThinnedLane, old: list[int], now: datetime
) -> ThinnedLane:
    """The lane's record once these segments are gone."""
    folder = journal_folder(feed.name, cursor.lane)
    said: list[dict[str, Any]] = []
    sequence, came = kept.sequence, kept.came_us
    for number in old:
        records = _records(folder, number)
        came = max([came, *map(came_us, records)])
        sequence = max([sequence, *(record.sequence + 1 for record in records)])
        raw = packed_path(folder, number).read_bytes()
        said.append(
            {
                "number": number,
                "first": records[0].sequence if records else None,
                "last": sequence - 1,
                "bytes": len(raw),
                "sha256": hashlib.sha256(raw).hexdigest(),
                "thinned_at": now.astimezone(UTC).isoformat(),
            }
        )
    versions = versions_of(feed)
    newest = versions.description(feed.version)
    later = newest if newest.is_level else None
    lane = Lane(
        cursor.lane, versions, position=kept.position, state=kept.fresh_state(), later=later
    )
    until = Position(old[-1] + 1, len(HEAD), sequence)
    lines = sum(gathered.lines for gathered in lane.gather(folder, until))
    return ThinnedLane(
        until.segment, sequence, lane.state(), kept.lines + lines, came, [*kept.segments, *said]
    )


def _with_rows(feed: Feed, cursors: list[Cursor], thinned: Thinned) -> Thinned:
    """With the digest of the rows that the kept segments do not give."""
    with tempfile.TemporaryDirectory(prefix="thin-", dir=settings.DATA_DIR) as name:
        folder = Path(name)
        replayed, stored = Replayed(feed, folder, lasting), Stored(feed, cursors, lasting)
        for cursor in cursors:
            kept = thinned.lane(cursor.lane)
            replayed.take_lane(cursor, kept.position, kept.fresh_state())
        replayed.take_mended()
        rejects = stored.rejects(folder)
        events = _rows(Beyond(compare(replayed.events, stored.events(), older=True), thinned))
        refused = _rows(Beyond(compare(replayed.rejects, rejects, older=True), thinned))
        rejects.close()
        replayed.close()
    return replace(thinned, events=events, rejects=refused)


def _rows(beyond: Beyond) -> Rows:
    if fault := next(iter(beyond), None):
        raise OSError(f"a row is {fault.kind}: verify first")
    return beyond.rows


def _delete(folder: Path, lane: ThinnedLane) -> int:
    gone = 0
    for number in segment_numbers(folder):
        if number < lane.segment:
            for path in (packed_path(folder, number), segment_path(folder, number)):
                with contextlib.suppress(FileNotFoundError):
                    path.unlink()
            gone += 1
    return gone
