"""Backfill measured: base, our cases and Django's own way, interleaved, every answer checked."""

from __future__ import annotations

import os
import shutil
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

from django.conf import settings
from django.db import connection

from telemetry.bench import bases, shop
from telemetry.bench.apart import scratch
from telemetry.bench.intake import spread
from telemetry.database import ensure_database
from telemetry.models import Arc, Cursor, Event, Feed, Reject, Repeat, Rollup, Stray
from telemetry.services import feed_register
from telemetry.store import FeedMemory, News, commit
from telemetry.worker.backfill import backfill_all
from telemetry.worker.bulk import large_cache, pause_garbage_collection
from telemetry.worker.lane_runner import load_lane
from telemetry.worker.two_processes import Group, Tell, run_in_two_processes

FEEDS = 20
SEED = 20260302
_DIFFER = 1.15
_TABLES = ("event", "arc", "stray", "rollup", "reject", "repeat", "gap", "sourceposition", "cursor")


class Bench:
    """The tables, their files, and the rows they must come to."""

    def __init__(self, rows: int) -> None:
        ensure_database()
        large_cache()
        count = rows // FEEDS
        self.tables = [shop.make_table(f"t{n:02}", count, SEED) for n in range(FEEDS)]
        self.feeds = [
            feed_register(name=t.name, text=shop.FEED.format(table=t.name, window_s=2.0))
            for t in self.tables
        ]
        self.rows = sum(len(table.lines) for table in self.tables)
        self.whole, self.again, self.half, self.faulty = [], [], [], []
        self.spoilt = [shop.spoil(table, SEED + n) for n, table in enumerate(self.tables)]
        for table, spoilt in zip(self.tables, self.spoilt, strict=True):
            text = table.text()
            self.whole.append(_write(f"{table.name}.csv", text))
            # One blank line more: other bytes, so that it is read, with the same lines in it.
            self.again.append(_write(f"{table.name}-again.csv", text + b"\n"))
            lines = text.splitlines(keepends=True)
            self.half.append(_write(f"{table.name}-half.csv", b"".join(lines[: len(lines) // 2])))
            self.faulty.append(_write(f"{table.name}-faulty.csv", spoilt.text))

    def clear(self) -> None:
        """Empty tables and journals, the log written back."""
        self._empty()
        shutil.rmtree(Path(settings.DATA_DIR) / "journal", ignore_errors=True)

    def _empty(self) -> None:
        with connection.cursor() as cursor:
            for name in _TABLES:
                if connection.vendor == "postgresql":
                    cursor.execute(f"TRUNCATE telemetry_{name}")
                else:
                    cursor.execute(f"DELETE FROM telemetry_{name}")
            if connection.vendor == "postgresql":
                cursor.execute("CHECKPOINT")
            else:
                cursor.execute("PRAGMA wal_checkpoint(TRUNCATE)")

    def read(self, files: list[Path]) -> None:
        backfill_all(list(zip(self.feeds, files, strict=True)), lambda done, of: None)

    def read_events_only(self) -> None:
        """Decoded and stored, not paired, from journals written beforehand."""

        def one(n: int, tell: Tell) -> None:
            feed, memory = self.feeds[n], FeedMemory()
            lane = load_lane(feed, "backfill")
            folder = Path(settings.DATA_DIR) / "journal" / feed.name / "backfill"
            for gathered in lane.gather(folder):
                commit([News(feed, "backfill", gathered, memory)], pair=False)

        with pause_garbage_collection():
            run_in_two_processes(one, [Group([n], 1) for n in range(FEEDS)], lambda amount: None)

    def journal_only(self) -> None:
        """Journals as a backfill leaves them, the rows thrown away again."""
        self.read(self.whole)
        self._empty()

    def base_rows(self) -> list[bases.Row]:
        return [
            event_row_of(feed.pk, line)
            for feed, table in zip(self.feeds, self.tables, strict=True)
            for line in table.lines
        ]


def event_row_of(feed_id: int, line: shop.Line) -> bases.Row:
    stamp = line.raw().decode().split(",")[1]
    key = ((line.at_us << 12) << 64 | line.seq).to_bytes(16, "big")
    kind = shop.KINDS[line.signal]
    number = float(line.value) if kind > 4 else None
    text = line.value if kind == 4 else None
    torch = "1"
    return (
        feed_id, key, line.at_us, line.seq, 0, torch, kind, number, text, stamp,
        1_790_000_000_000_000, 1, 0,
    )  # fmt: skip


def _write(name: str, text: bytes) -> Path:
    path = scratch(name)
    path.write_bytes(text)
    return path


def check(bench: Bench, *, arcs: bool = True, faulty: bool = False) -> None:
    """Raises AssertionError unless what is stored is what the tables did."""
    for n, (feed, table) in enumerate(zip(bench.feeds, bench.tables, strict=True)):
        stored = Event.objects.filter(feed=feed).order_by("at_us", "seq")
        found = list(stored.values_list("key", "at_us", "seq", "kind", "number", "text"))
        expected = [event_row_of(feed.pk, line) for line in table.lines]
        _same(
            feed, "events",
            [(bytes(row[0]), *row[1:]) for row in found],
            [(row[1], row[2], row[3], row[6], row[7], row[8]) for row in expected],
        )  # fmt: skip
        _same(feed, "count", Cursor.objects.get(feed=feed).events, len(table.lines))
        if faulty:
            _same(
                feed, "rejects", Reject.objects.filter(feed=feed).count(), bench.spoilt[n].rejects
            )
            times = sum(Repeat.objects.filter(feed=feed).values_list("times", flat=True))
            _same(feed, "repeats", times, bench.spoilt[n].repeats)
        if arcs:
            _check_arcs(feed, table)


def _check_arcs(feed: Feed, table: shop.Table) -> None:
    columns = ("table", "on_us", "off_us", "ended", "pierces", "program")
    found = sorted(Arc.objects.filter(feed=feed).values_list(*columns))
    _same(feed, "arcs", found, sorted(table.arcs))
    _same(feed, "strays", Stray.objects.filter(feed=feed).count(), 0)
    sums = {
        row.bucket_us // shop.BUCKET_US: (row.burn_us, row.arcs, row.pierces or 0)
        for row in Rollup.objects.filter(feed=feed)
    }
    _same(feed, "rollups", sums, table.rollup())


def _same(feed: Feed, what: str, found: object, expected: object) -> None:
    if found != expected:
        raise AssertionError(f"{feed.name}: {what} are not what the table did")


def measure(rows: int, times: int) -> dict[str, Any]:
    """The whole protocol. A repetition whose base differs by over 15 % between its start and its
    end is measured again, up to twice as many in all."""
    bench = Bench(rows)
    base_rows = bench.base_rows()
    kept: list[dict[str, tuple[float, float]]] = []
    noisy: list[dict[str, tuple[float, float]]] = []
    while len(kept) < times and len(kept) + len(noisy) < 2 * times:
        first = bases.base(base_rows)
        took = _repetition(bench, base_rows, with_bulk_create=not kept)
        last = bases.base(base_rows)
        took["base"] = ((first[0] + last[0]) / 2, (first[1] + last[1]) / 2)
        slow = max(first[0], last[0]) / min(first[0], last[0])
        (kept if slow <= _DIFFER else noisy).append(took)
    return _answer(bench, kept or noisy, len(kept), len(kept) + len(noisy))


def _repetition(
    bench: Bench, base_rows: list[bases.Row], *, with_bulk_create: bool
) -> dict[str, tuple[float, float]]:
    took: dict[str, tuple[float, float]] = {}

    def case(name: str, work: Callable[[], None], **checks: bool) -> None:
        began, worked = time.perf_counter(), _worked()
        work()
        took[name] = time.perf_counter() - began, _worked() - worked
        check(bench, **checks)

    bench.clear()
    case("arcs and rollups", lambda: bench.read(bench.whole))
    case("all there", lambda: bench.read(bench.again))
    bench.clear()
    bench.read(bench.half)
    case("half there", lambda: bench.read(bench.whole))
    bench.clear()
    case("faulty", lambda: bench.read(bench.faulty), faulty=True)
    bench.clear()
    bench.journal_only()
    case("events only", bench.read_events_only, arcs=False)
    if connection.vendor == "sqlite":
        took["lean base"] = bases.lean_base(base_rows)
    bench.clear()
    some = base_rows if with_bulk_create else base_rows[: len(base_rows) // 5]
    seconds, worked = bases.bulk_create(some)
    share = len(base_rows) / len(some)
    took["bulk_create"] = seconds * share, worked * share
    return took


def _worked() -> float:
    """CPU seconds of this process and those it began that have ended."""
    return sum(os.times()[:4])


def _answer(
    bench: Bench, kept: list[dict[str, tuple[float, float]]], quiet: int, repetitions: int
) -> dict[str, Any]:
    rows = bench.rows
    is_sqlite = connection.vendor == "sqlite"
    cases = {
        name: {
            "ratio": spread([took["base"][0] / took[name][0] for took in kept]),
            "cpu_ratio": spread([took["base"][1] / took[name][1] for took in kept]),
            "rows_per_s": spread([rows / took[name][0] for took in kept], 0),
            "cpu_us_per_row": spread([took[name][1] / rows * 1e6 for took in kept], 2),
        }
        for name in kept[0]
        if name != "base"
    }
    return {
        "database": connection.vendor,
        "base": "executemany INSERT OR IGNORE of ready rows, one transaction"
        if is_sqlite
        else "COPY of ready rows into a keyed table",
        "rows": rows,
        "feeds": FEEDS,
        "repetitions": repetitions,
        "kept": quiet or len(kept),
        "quiet": quiet > 0,
        "base_rows_per_s": spread([rows / took["base"][0] for took in kept], 0),
        "cases": cases,
    }
