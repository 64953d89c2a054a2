"""Takes what collectors deliver: records into the feed's inbox, acknowledged once on disk.

The inbox of a collector is a journal whose records keep the collector's own numbers, so a record
delivered again is known by its number, whatever was lost on the way: an answer, a process, power.
"""

from __future__ import annotations

import contextlib
import os
import re
import threading
import time
from dataclasses import dataclass
from pathlib import Path

from telemetry.errors import PushError
from telemetry.feeds.push.records import unpack_all
from telemetry.journal import JournalError, Position, Record, Writer
from telemetry.journal.segments import segment_numbers, segment_path
from telemetry.locks import Busy, Lock
from telemetry.models import Alarm, Feed, PushToken
from telemetry.paths import inbox_folder
from telemetry.said import said, to_reader

SEGMENT_BYTES = 8 * 1024 * 1024
CLOCK_OFF_US = 30_000_000
COLLECTOR = re.compile(r"[0-9a-f]{32}\Z")


@dataclass(frozen=True, slots=True)
class Delivery:
    """What a request says beside its records. `now_us` is the collector's clock as it sends,
    `lost` that it no longer has what comes before its first record, `waiting` how many it holds."""

    collector: str
    now_us: int | None = None
    lost: bool = False
    waiting: int | None = None


class Inbox:
    """One collector's folder as this process last left it."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.lock = threading.Lock()
        self._writer: Writer | None = None

    def take(self, records: list[Record], *, lost: bool) -> tuple[int, list[str]]:
        """Appends what is new and makes it durable. Returns the next number wanted, and what was
        damaged or missing. Raises PushError."""
        writer = self._current()
        wanted = writer.durable.sequence
        new = [record for record in records if record.sequence >= wanted]
        if new and new[0].sequence > wanted:
            if not lost:
                raise PushError(
                    409, f"record {wanted} is wanted, not {new[0].sequence}", next_sequence=wanted
                )
            writer.close()
            floor = Position(0, 0, new[0].sequence)
            writer = self._writer = Writer(self.folder, floor=floor, segment_bytes=SEGMENT_BYTES)
        faults = [str(damage) for damage in writer.damages]
        writer.damages = []
        for record in new:
            writer.append(
                record.kind, meta=record.meta, body=record.body, utc_us=record.utc_us,
                mono_us=record.mono_us,
            )  # fmt: skip
        try:
            return writer.sync().sequence, faults
        except JournalError as error:
            self._writer = None
            # What a failed sync left in the file is not on disk: nobody must find it there.
            with contextlib.suppress(OSError):
                kept = writer.durable
                os.truncate(segment_path(self.folder, kept.segment), kept.offset)
            raise PushError(503, f"cannot be written down now: {error}", retry=True) from error

    def _current(self) -> Writer:
        """The writer, opened again where another process has written since."""
        writer = self._writer
        if writer is not None:
            numbers = segment_numbers(self.folder)
            durable = writer.durable
            last = numbers[-1] if numbers else 0
            size = segment_path(self.folder, last).stat().st_size if numbers else 0
            if (last, size) == (durable.segment, durable.offset):
                return writer
            writer.close()
        try:
            self._writer = writer = Writer(self.folder, segment_bytes=SEGMENT_BYTES)
        except OSError as error:
            raise PushError(503, f"cannot be written down now: {error}", retry=True) from error
        return writer


_inboxes: dict[Path, Inbox] = {}


def push_take(*, token: PushToken, body: bytes, delivery: Delivery) -> int:
    """Takes a delivery under a token that was found good; returns the next number wanted. Once
    it returns, all before that number is on disk. Raises PushError."""
    records = unpack_all(body)
    _claim(token, delivery.collector)
    with _held(token.feed, delivery.collector) as inbox:
        wanted, faults = inbox.take(records, lost=delivery.lost)
    _note(token, delivery, faults)
    return wanted


class _held:
    """The inbox, held against other threads and processes. Never waits long."""

    def __init__(self, feed: Feed, collector: str) -> None:
        folder = inbox_folder(feed.name) / collector
        folder.parent.mkdir(parents=True, exist_ok=True)
        self._inbox = _inboxes.setdefault(folder, Inbox(folder))
        self._lock: Lock | None = None

    def __enter__(self) -> Inbox:
        if not self._inbox.lock.acquire(timeout=5):
            raise PushError(503, "another delivery is being written down", retry=True)
        try:
            path = self._inbox.folder.with_suffix(".lock")
            self._lock = Lock(path, "this collector's inbox")
        except (Busy, OSError) as error:
            self._inbox.lock.release()
            raise PushError(503, f"{error}", retry=True) from error
        return self._inbox

    def __exit__(self, *_: object) -> None:
        if self._lock is not None:
            self._lock.release()
        self._inbox.lock.release()


def _claim(token: PushToken, collector: str) -> None:
    """The first collector to use a token is the only one from then on."""
    if not COLLECTOR.match(collector):
        raise PushError(400, "the collector gives no name of 32 hex digits")
    if not token.collector:
        PushToken.objects.filter(pk=token.pk, collector="").update(collector=collector)
        token.refresh_from_db(fields=["collector"])
    if token.collector != collector:
        raise PushError(
            409, "this token belongs to another collector: issue a new one on the source's page"
        )


def _note(token: PushToken, delivery: Delivery, faults: list[str]) -> None:
    """Keeps when it last came and how far its clock is off; raises and clears alarms."""
    now_us = time.time_ns() // 1000
    values: dict[str, int | None] = {"seen_us": now_us, "waiting": delivery.waiting}
    off_us = None if delivery.now_us is None else delivery.now_us - now_us
    if off_us is not None:
        values["clock_off_us"] = off_us
    PushToken.objects.filter(pk=token.pk).update(**values)
    for fault in faults:
        Alarm.objects.create(
            feed=token.feed, code="collector lost records", message=fault[:300], at_us=now_us
        )
    standing = Alarm.objects.filter(feed=token.feed, code="collector clock", cleared_us=None)
    if off_us is None:
        return
    if abs(off_us) < CLOCK_OFF_US:
        standing.update(cleared_us=now_us)
    elif not standing.exists():
        seconds = round(abs(off_us) / 1e6)
        words = (
            said("the collector's clock is {seconds} s ahead of this machine's", seconds=seconds)
            if off_us > 0
            else said("the collector's clock is {seconds} s behind this machine's", seconds=seconds)
        )
        message = to_reader(words)
        Alarm.objects.create(feed=token.feed, code="collector clock", message=message, at_us=now_us)
