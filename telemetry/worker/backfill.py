"""Reads files into feeds, through each feed's journal like everything else."""

from __future__ import annotations

import contextlib
import hashlib
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from io import BufferedReader
from pathlib import Path
from typing import Any

from telemetry.description import parse_description
from telemetry.errors import SourceError
from telemetry.feeds.base import BLOCK_BYTES
from telemetry.journal import Kind, Writer
from telemetry.journal.writer import clock_us
from telemetry.locks import Lock
from telemetry.models import Cursor, Feed, FeedVersion, SourcePosition
from telemetry.paths import journal_folder, lock_path
from telemetry.worker.bulk import large_cache, pause_garbage_collection
from telemetry.worker.lane_runner import LaneRunner, announce
from telemetry.worker.two_processes import Group, run_in_two_processes

_STORE_EACH_BYTES = 4 * 1024 * 1024
Progress = Callable[[int, int], None]


@dataclass(frozen=True, slots=True)
class Done:
    """What a backfill came to. `known` lines were stored already and count nowhere else."""

    lines: int
    events: int
    known: int
    already_read: bool = False


def backfill(feed: Feed, path: Path, progress: Progress) -> Done:
    """Reads `path` into `feed`; `progress(bytes done, of)` is called as it goes.

    Lines that are stored already are passed over, so files may overlap what was heard live and
    come in any order. Raises SourceError where the file cannot be read or would be guesswork.
    """
    with pause_garbage_collection():
        return _backfill(feed, path, progress, alone=True)


def backfill_all(work: Sequence[tuple[Feed, Path]], progress: Progress) -> list[Done]:
    """`backfill` of several files: those of one feed in their order, those of different feeds two
    side by side where the database has a server. The first error ends it, when what was begun is
    done; files that were read stay read."""
    sizes = [_size_of(path) for _, path in work]
    by_feed: dict[int, list[int]] = {}
    for n, (feed, _) in enumerate(work):
        by_feed.setdefault(feed.pk, []).append(n)
    groups = [Group(pieces, sum(sizes[n] for n in pieces)) for pieces in by_feed.values()]

    def one(n: int, tell: Callable[[int], None]) -> Done:
        feed, path = work[n]
        return _backfill(feed, path, lambda done, of: tell(done), alone=len(groups) == 1)

    with pause_garbage_collection():
        done = run_in_two_processes(one, groups, lambda amount: progress(amount, sum(sizes)))
    return [done[n] for n in range(len(work))]


def _size_of(path: Path) -> int:
    try:
        return path.stat().st_size
    except OSError as error:
        raise SourceError(f"{path}:1: {error.strerror or error}") from error


def _backfill(feed: Feed, path: Path, progress: Progress, *, alone: bool) -> Done:
    """`alone`: no second process beside, so that there is time to decode ahead of the database."""
    _refuse(feed)
    large_cache()
    try:
        with path.open("rb") as handle, _locked(feed):
            return _read(feed, path, handle, progress, alone=alone)
    except OSError as error:
        raise SourceError(f"{path}:1: {error.strerror or error}") from error


@contextlib.contextmanager
def _locked(feed: Feed) -> Iterator[None]:
    lock = Lock(lock_path(feed.name, "backfill"), f"a file for feed {feed.name!r}")
    try:
        yield
    finally:
        lock.release()


def _refuse(feed: Feed) -> None:
    text = FeedVersion.objects.get(feed=feed, version=feed.version).text
    description = parse_description(text, name=feed.name)
    if description.times_from_arrival:
        raise SourceError(
            f"{feed.name}: its times are those of arrival, which a file read later does not have"
        )
    live = Cursor.objects.filter(feed=feed, lane="live", last_line_us__isnull=False).exists()
    if live and description.is_level:
        raise SourceError(
            f"{feed.name}: a bare level read live cannot be told from the same one in a file",
            hint="register the file as a feed of its own",
        )


def _read(
    feed: Feed, path: Path, handle: BufferedReader, progress: Progress, *, alone: bool
) -> Done:
    storing = LaneRunner(feed, "backfill", in_bulk=alone)
    storing.drain()
    digest = hashlib.file_digest(handle, lambda: hashlib.blake2b(digest_size=16)).hexdigest()
    size, source = handle.tell(), f"backfill:{digest}"
    if SourcePosition.objects.filter(feed=feed, path=source, byte_offset=size).exists():
        return Done(0, 0, 0, already_read=True)
    handle.seek(0)
    if handle.read(2) in (b"\xff\xfe", b"\xfe\xff"):
        raise SourceError(f"{path}:1: this is UTF-16 text, save it as UTF-8")
    handle.seek(0)
    before = _counts(feed)
    writer = Writer(journal_folder(feed.name, "backfill"), floor=storing.lane.position)
    try:
        announce(feed, storing.lane, writer)
        _append(writer, Kind.OPENED, {"fresh": True})
        at = 0
        while body := handle.read(BLOCK_BYTES):
            meta = {"source": path.name, "at": at, "path": source, "generation": 1}
            _append(writer, Kind.DATA, {**meta, "file": {"inode": path.name[:24]}}, body)
            at += len(body)
            if writer.pending_bytes >= _STORE_EACH_BYTES:
                storing.drain(writer.sync())
                progress(at, size)
        _append(writer, Kind.END, {})
        storing.drain(writer.sync())
        progress(at, size)
    finally:
        writer.close()
    after = _counts(feed)
    lines, events, known = (late - early for early, late in zip(before, after, strict=True))
    return Done(lines, events, known)


def _append(writer: Writer, kind: Kind, meta: dict[str, Any], body: bytes = b"") -> None:
    utc_us, mono_us = clock_us()
    writer.append(kind, meta=meta, body=body, utc_us=utc_us, mono_us=mono_us)


def _counts(feed: Feed) -> tuple[int, int, int]:
    row = Cursor.objects.filter(feed=feed, lane="backfill").first()
    return (row.lines, row.events, row.known) if row else (0, 0, 0)
