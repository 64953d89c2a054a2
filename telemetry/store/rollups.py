"""Quarter-hour sums of burning, always recomputed from arcs."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Sequence
from typing import Any, NamedTuple, TypeVar

import numpy as np
from django.db import connection

from telemetry.decode.row_blocks import Array
from telemetry.models import Feed, Rollup
from telemetry.store.arcs import arcs_from, last_arcs_before
from telemetry.store.rows import ArcRow

BUCKET_US = 15 * 60 * 1_000_000
_DAY = 96
_AT_ONCE = 500  # rows a statement
_STRETCHES = 100  # a statement: SQLite joins 500 selects at most, and each takes two
T = TypeVar("T")
Burnt = tuple[int, int | None, int | None, str]  # of an arc: on_us, off_us, pierces, table


class DueBuckets:
    """The buckets, by torch, that changed arcs touch."""

    def __init__(self) -> None:
        self._buckets: dict[str, set[int]] = defaultdict(set)

    @classmethod
    def listed(cls, buckets: dict[str, list[int]]) -> DueBuckets:
        """Those that `as_lists` gave."""
        dirty = cls()
        for torch, numbers in buckets.items():
            dirty._buckets[torch].update(numbers)
        return dirty

    def as_lists(self) -> dict[str, list[int]]:
        """As JSON values."""
        return {torch: sorted(buckets) for torch, buckets in self._buckets.items()}

    def take_over(self, other: DueBuckets) -> None:
        """Adds all of another's."""
        for torch, buckets in other._buckets.items():
            self._buckets[torch] |= buckets

    def __bool__(self) -> bool:
        return any(self._buckets.values())

    def add(self, row: ArcRow) -> None:
        first = row.on_us // BUCKET_US
        last = first if row.off_us is None else row.off_us // BUCKET_US
        buckets = self._buckets[row.torch]
        if first == last:
            buckets.add(first)
        else:
            buckets.update(range(first, last + 1))

    def add_all(self, torch: str, on_us: Array, off_us: Array) -> None:
        """Those of many arcs that ended."""
        firsts, lasts = on_us // BUCKET_US, off_us // BUCKET_US
        buckets = self._buckets[torch]
        buckets.update(np.unique(firsts).tolist())
        long = firsts != lasts
        for first, last in zip(firsts[long].tolist(), lasts[long].tolist(), strict=True):
            buckets.update(range(first, last + 1))

    def recompute_from(self, feed: Feed, torch: str, from_us: int | None) -> None:
        """All buckets of one torch anew, from the one that holds `from_us` on (None: all)."""
        first_us = None if from_us is None else from_us // BUCKET_US * BUCKET_US
        stale = Rollup.objects.filter(feed=feed, torch=torch)
        if first_us is not None:
            stale = stale.filter(bucket_us__gte=first_us)
        stale.delete()
        for row in arcs_from(feed.pk, torch, first_us, None):
            self.add(row)
        for row in [] if first_us is None else last_arcs_before(feed.pk, torch, first_us):
            self.add(row)

    def recompute(self, feed: Feed) -> None:
        """Writes each dirty bucket anew; a bucket without arcs goes."""
        recompute(self.stretches(feed.pk))
        self.clear()

    def clear(self) -> None:
        self._buckets.clear()

    def stretches(self, feed_id: int) -> list[Stretch]:
        """The buckets of a feed by torch, those far apart by themselves: else two of them would
        have all between them read."""
        return [
            Stretch(feed_id, torch, run)
            for torch, buckets in self._buckets.items()
            for run in _runs(sorted(buckets))
        ]


class Stretch(NamedTuple):
    """Neighbouring buckets of one torch of a feed, in order."""

    feed_id: int
    torch: str
    buckets: list[int]


def _runs(buckets: list[int]) -> list[list[int]]:
    """Neighbouring buckets."""
    runs: list[list[int]] = []
    last = 0
    for bucket in buckets:
        if runs and bucket - last <= _DAY:
            runs[-1].append(bucket)
        else:
            runs.append([bucket])
        last = bucket
    return runs


def recompute(every: Sequence[Stretch]) -> None:
    """Writes these buckets anew from the arcs that burn in them, many stretches a statement."""
    with connection.cursor() as cursor:
        for some in batched(every, _STRETCHES):
            found: list[list[Burnt]] = [[] for _ in some]
            asked = [_arcs_sql(n, stretch) for n, stretch in enumerate(some)]
            torches = [stretch.torch for stretch in some for _ in range(3)]
            cursor.execute(" UNION ALL ".join(asked), torches)
            for n, *arc in cursor.fetchall():
                found[n].append((*arc,))
            for stretch, arcs in zip(some, found, strict=True):
                _replace(cursor, stretch, arcs)


def _arcs_sql(number: int, stretch: Stretch) -> str:
    """Of the arcs that began in these buckets, and of the last before them, marked with `number`.
    Takes the torch three times."""
    first_us = stretch.buckets[0] * BUCKET_US
    last_us = (stretch.buckets[-1] + 1) * BUCKET_US - 1
    where = f"FROM telemetry_arc WHERE feed_id = {stretch.feed_id} AND torch = %s AND on_us"
    what = f'SELECT {number} AS n, on_us, off_us, pierces, "table" {where}'
    return (
        f"{what} BETWEEN {first_us} AND {last_us} UNION ALL "
        f"{what} = (SELECT max(on_us) {where} < {first_us})"
    )


def _replace(cursor: Any, stretch: Stretch, arcs: Sequence[Burnt]) -> None:
    feed_id, torch, buckets = stretch
    for some in batched(buckets, _AT_ONCE):
        stale = ", ".join(str(bucket * BUCKET_US) for bucket in some)
        cursor.execute(
            "DELETE FROM telemetry_rollup WHERE feed_id = %s AND torch = %s "
            f"AND bucket_us IN ({stale})",
            [feed_id, torch],
        )
    wanted = set(buckets)
    for table in sorted({arc[3] for arc in arcs}):
        own = [arc for arc in arcs if arc[3] == table]
        rows = [(bucket * BUCKET_US, *sums) for bucket, sums in sum_buckets(own, wanted).items()]
        for some_rows in batched(rows, _AT_ONCE):
            # Whole numbers stand in the statement itself: by the hundred, as values beside it, they
            # cost the driver more than the database.
            cursor.execute(
                'INSERT INTO telemetry_rollup (feed_id, "table", torch, bucket_us, burn_us, arcs, '
                "pierces) SELECT %s, %s, %s, column1, column2, column3, CAST(column4 AS integer) "
                f"FROM (VALUES {', '.join(map(_values, some_rows))}) AS sums",
                [feed_id, table, torch],
            )


def _values(numbers: Sequence[int | None]) -> str:
    return f"({', '.join('NULL' if n is None else str(n) for n in numbers)})"


def batched(items: Sequence[T], size: int) -> Iterator[Sequence[T]]:
    return (items[at : at + size] for at in range(0, len(items), size))


def sum_buckets(arcs: Sequence[Burnt], wanted: set[int]) -> dict[int, tuple[int, int, int | None]]:
    """bucket number -> (burning us, arcs begun, pierces of those or None). Pure."""
    burn: dict[int, int] = defaultdict(int)
    begun: dict[int, int] = defaultdict(int)
    pierces: dict[int, int] = defaultdict(int)
    cannot: set[int] = set()  # buckets with an arc of a source that knows no pierces
    for on_us, off_us, pierced, _ in arcs:
        first = on_us // BUCKET_US
        begun[first] += 1
        if pierced is None:
            cannot.add(first)
        else:
            pierces[first] += pierced
        if off_us is None:
            continue
        end_us = (first + 1) * BUCKET_US
        if off_us < end_us:
            burn[first] += off_us - on_us
            continue
        burn[first] += end_us - on_us
        last = off_us // BUCKET_US
        for bucket in range(first + 1, last):
            burn[bucket] += BUCKET_US
        burn[last] += off_us - last * BUCKET_US
    quiet = None if cannot else 0
    touched = (set(begun) | {bucket for bucket, us in burn.items() if us}) & wanted
    return {
        bucket: (
            burn.get(bucket, 0),
            begun.get(bucket, 0),
            None if bucket in cannot else pierces.get(bucket, quiet),
        )
        for bucket in sorted(touched)
    }
