"""A long history made in the database itself, and the same sums asked of it in three ways."""

from __future__ import annotations

import time
from collections.abc import Callable
from statistics import median
from typing import Any

from django.db import connection, transaction

from telemetry.bench.shop import FEED
from telemetry.bulk import few_collections, large_cache
from telemetry.database import ensure_database
from telemetry.models import Event, Feed, Rollup
from telemetry.packed import AnyRow
from telemetry.rowlist import Rows
from telemetry.selectors import burn_sums
from telemetry.services import feed_register
from telemetry.store.arcrows import ArcRow, save_arcs
from telemetry.store.rollups import Dirty
from telemetry.store.rows import insert_new

TABLES = 4
_DAY_US = 86_400_000_000
_ARCS_A_DAY = 2_000_000 / 395  # 13 months hold two million
_START_US = 1_735_689_600_000_000  # 2025-01-01T00:00:00Z
_EVENTS = 5  # of an arc: on, pierce, two samples, off

# Each arc_on with what follows it on its torch: the pairing of a history without faults.
_FROM_EVENTS = """
SELECT feed_id, sum(CASE WHEN next_kind = 2 THEN next_us - at_us END), count(*) FROM (
    SELECT feed_id, at_us, kind,
           lead(at_us) OVER torch AS next_us, lead(kind) OVER torch AS next_kind
    FROM telemetry_event WHERE kind IN (1, 2)
    WINDOW torch AS (PARTITION BY feed_id, torch ORDER BY at_us, seq)
) AS paired WHERE kind = 1 GROUP BY feed_id ORDER BY feed_id
"""
_FROM_ARCS = (
    "SELECT feed_id, sum(off_us - on_us), count(*) FROM telemetry_arc "
    "GROUP BY feed_id ORDER BY feed_id"
)


def measure(arcs: int, times: int) -> dict[str, Any]:
    ensure_database()
    large_cache()
    feeds = [
        feed_register(name=f"h{n}", text=FEED.format(table=f"h{n}", window_s=2.0))
        for n in range(TABLES)
    ]
    days = round(arcs / _ARCS_A_DAY)
    length_us = days * _DAY_US
    end_us = _START_US + length_us
    last_day_us = end_us - _DAY_US
    with few_collections():
        # The last tenth of the time first: a shop with one history, then with ten.
        tenth_us = length_us // 10
        for feed in feeds:
            _make(feed, end_us - tenth_us, tenth_us, arcs // TABLES // 10)
        _settle()
        one_ms, today_before = _timed(lambda: burn_sums(last_day_us, end_us), 20 * times)
        for feed in feeds:
            _make(feed, _START_US, length_us - tenth_us, arcs // TABLES - arcs // TABLES // 10)
    _settle()
    ten_ms, today_after = _timed(lambda: burn_sums(last_day_us, end_us), 20 * times)
    if today_before != today_after or not today_after:
        raise AssertionError("today changed by what came before it")
    ours_ms, ours = _timed(lambda: burn_sums(_START_US, end_us), times)
    arcs_ms, from_arcs = _timed(lambda: _ask(_FROM_ARCS), times)
    events_ms, from_events = _timed(lambda: _ask(_FROM_EVENTS), times)
    kept = [(row.burn_us, row.arcs) for row in ours]
    if not kept == [row[1:] for row in from_arcs] == [row[1:] for row in from_events]:
        raise AssertionError("sums, arcs and events do not agree")
    return {
        "database": connection.vendor,
        "events": Event.objects.count(),
        "arcs": sum(row.arcs for row in ours),
        "days": days,
        "rollup_rows": Rollup.objects.count(),
        "months": {
            "ours_ms": ours_ms,
            "arcs_ms": arcs_ms,
            "events_ms": events_ms,
            "ratio": ours_ms / events_ms,
        },
        "today": {"one_ms": one_ms, "ten_ms": ten_ms, "ratio": ten_ms / one_ms},
    }


def _make(feed: Feed, start_us: int, length_us: int, count: int) -> None:
    """`count` arcs at even steps, every one a little longer than the last, up to a tenth of a step
    short of the next."""
    step_us = length_us // count
    for first in range(0, count, 10_000):
        events: list[AnyRow] = []
        arcs: list[ArcRow] = []
        dirty = Dirty()
        for n in range(first, min(first + 10_000, count)):
            on_us = start_us + n * step_us
            off_us = on_us + step_us // 5 + n % 997 * (step_us // 2000)
            seq = on_us // 1000 % 10**12 * 10
            keys = [((on_us << 12) << 64 | seq + k).to_bytes(16, "big") for k in range(_EVENTS)]
            at = [on_us, on_us + 1, on_us + 2, on_us + 3, off_us]
            for k, kind in enumerate((1, 3, 5, 5, 2)):
                number = 61.0 if kind == 5 else None
                events.append(
                    (keys[k], at[k], seq + k, 0, "1", kind, number, None, "", on_us, 1, 0)
                )
            arc = ArcRow(
                f"{feed.name}|1|{keys[0].hex()}", feed.pk, feed.table, "1", on_us, off_us, "off",
                1, on_us + 1, None, 61.0, None, 1, 0,
            )  # fmt: skip
            arcs.append(arc)
            dirty.add(arc)
        with transaction.atomic():
            if not insert_new(feed.pk, Rows([events])):
                raise AssertionError("an event was made twice")
            save_arcs(arcs, all_new=True)
            dirty.recompute(feed)


def _settle() -> None:
    with connection.cursor() as cursor:
        if connection.vendor == "postgresql":
            cursor.execute("VACUUM ANALYZE")
        else:
            cursor.execute("PRAGMA wal_checkpoint(TRUNCATE)")
            cursor.execute("ANALYZE")


def _ask(sql: str) -> list[tuple[Any, ...]]:
    with connection.cursor() as cursor:
        cursor.execute(sql)
        return [tuple(int(value) for value in row) for row in cursor.fetchall()]


def _timed(work: Callable[[], Any], times: int) -> tuple[float, Any]:
    """Median milliseconds, and the answer."""
    answer = work()
    took = []
    for _ in range(times):
        began = time.perf_counter()
        answer = work()
        took.append(time.perf_counter() - began)
    return median(took) * 1000, answer
