"""Sums left for later, brought up to date for a few feeds in one transaction and few statements."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

from django.db import connection, transaction

from telemetry.models import Feed
from telemetry.store.commit import FeedMemory, lock_feeds
from telemetry.store.rollups import BUCKET_US, DueBuckets, batched, sum_buckets

_NEAR = 96  # buckets; those further apart are not read as one stretch
_AT_ONCE = 100  # stretches a statement: SQLite joins 500 selects at most, and each takes two


class _Stretch(NamedTuple):
    """Neighbouring buckets of one torch."""

    feed: Feed
    torch: str
    buckets: list[int]


def settle(every: Sequence[tuple[Feed, str, FeedMemory]]) -> None:
    """Brings the buckets left for later by these lanes up to the arcs, in one transaction."""
    with transaction.atomic():
        lock_feeds(sorted({feed.pk for feed, _, _ in every}))
        near: list[_Stretch] = []
        for feed, _, keeper in every:
            due = keeper.due.as_lists()
            near += [_Stretch(feed, torch, numbers) for torch, numbers in due.items() if numbers]
        for far in [one for one in near if one.buckets[-1] - one.buckets[0] > _NEAR]:
            near.remove(far)
            DueBuckets.listed({far.torch: far.buckets}).recompute(far.feed)
        for some in batched(near, _AT_ONCE):
            _recompute(some)
        _note_settled([(feed.pk, lane) for feed, lane, _ in every])
    for _, _, keeper in every:
        keeper.due = DueBuckets()


def _recompute(every: Sequence[_Stretch]) -> None:
    arcs: list[list[tuple[int, int | None, int | None]]] = [[] for _ in every]
    asked = [_arcs_sql(n, one) for n, one in enumerate(every)]
    torches = [one.torch for one in every for _ in range(3)]
    with connection.cursor() as cursor:
        cursor.execute(" UNION ALL ".join(asked), torches)
        for n, on_us, off_us, pierces in cursor.fetchall():
            arcs[n].append((on_us, off_us, pierces))
        for some, (feed, torch, buckets) in zip(arcs, every, strict=True):
            sums = sum_buckets(some, set(buckets))
            rows = [
                (feed.pk, feed.table, torch, bucket * BUCKET_US, *sums[bucket]) for bucket in sums
            ]
            if rows:
                marks = ", ".join(["(%s, %s, %s, %s, %s, %s, %s)"] * len(rows))
                cursor.execute(f"{_INTO} VALUES {marks} {_ANEW}", [v for row in rows for v in row])
            if empty := [bucket * BUCKET_US for bucket in buckets if bucket not in sums]:
                cursor.execute(
                    "DELETE FROM telemetry_rollup WHERE feed_id = %s AND torch = %s "
                    f"AND bucket_us IN ({', '.join(map(str, empty))})",
                    [feed.pk, torch],
                )


_INTO = 'INSERT INTO telemetry_rollup (feed_id, "table", torch, bucket_us, burn_us, arcs, pierces)'
_ANEW = (
    'ON CONFLICT (feed_id, torch, bucket_us) DO UPDATE SET "table" = excluded."table", '
    "burn_us = excluded.burn_us, arcs = excluded.arcs, pierces = excluded.pierces"
)


def _arcs_sql(number: int, stretch: _Stretch) -> str:
    """Of the arcs that began in these buckets, and of the last before them, marked with `number`.
    Takes the torch three times."""
    first_us = stretch.buckets[0] * BUCKET_US
    last_us = (stretch.buckets[-1] + 1) * BUCKET_US - 1
    where = f"FROM telemetry_arc WHERE feed_id = {stretch.feed.pk} AND torch = %s AND on_us"
    what = f"SELECT {number} AS n, on_us, off_us, pierces {where}"
    return (
        f"{what} BETWEEN {first_us} AND {last_us} UNION ALL "
        f"{what} = (SELECT max(on_us) {where} < {first_us})"
    )


def _note_settled(lanes: Sequence[tuple[int, str]]) -> None:
    without = "json_remove(state, '$.due')" if connection.vendor == "sqlite" else "state - 'due'"
    with connection.cursor() as cursor:
        cursor.execute(
            f"UPDATE telemetry_cursor SET state = {without} WHERE "
            + " OR ".join(["feed_id = %s AND lane = %s"] * len(lanes)),
            [value for lane in lanes for value in lane],
        )
