"""Quarter-hour sums of burning, always recomputed from arcs."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Sequence
from typing import TypeVar

import numpy as np
from django.db import connection

from telemetry.models import Feed, Rollup
from telemetry.packed import Array
from telemetry.store.arcrows import ArcRow, Burnt, arcs_from, burnt_within, last_arcs_before

BUCKET_US = 15 * 60 * 1_000_000
_DAY = 96
_AT_ONCE = 500  # rows a statement
T = TypeVar("T")


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
        for torch, buckets in self._buckets.items():
            for run in _runs(sorted(buckets)):
                _recompute(feed, torch, run)
        self._buckets.clear()


def _runs(buckets: list[int]) -> list[set[int]]:
    """Stretches of neighbouring buckets, so that two far apart do not read all between them."""
    runs: list[set[int]] = []
    last = 0
    for bucket in buckets:
        if runs and bucket - last <= _DAY:
            runs[-1].add(bucket)
        else:
            runs.append({bucket})
        last = bucket
    return runs


def _recompute(feed: Feed, torch: str, buckets: set[int]) -> None:
    first_us, last_us = min(buckets) * BUCKET_US, (max(buckets) + 1) * BUCKET_US - 1
    arcs = burnt_within(feed.pk, torch, first_us, last_us)
    rows = [(bucket * BUCKET_US, *sums) for bucket, sums in sum_buckets(arcs, buckets).items()]
    stale = [bucket * BUCKET_US for bucket in buckets]
    with connection.cursor() as cursor:
        for some in batched(stale, _AT_ONCE):
            cursor.execute(
                "DELETE FROM telemetry_rollup WHERE feed_id = %s AND torch = %s "
                f"AND bucket_us IN ({', '.join(map(str, some))})",
                [feed.pk, torch],
            )
        for sums in batched(rows, _AT_ONCE):
            # Whole numbers stand in the statement itself: by the hundred, as values beside it, they
            # cost the driver more than the database.
            cursor.execute(
                'INSERT INTO telemetry_rollup (feed_id, "table", torch, bucket_us, burn_us, arcs, '
                "pierces) SELECT %s, %s, %s, column1, column2, column3, CAST(column4 AS integer) "
                f"FROM (VALUES {', '.join(map(_values, sums))}) AS sums",
                [feed.pk, feed.table, torch],
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
    for on_us, off_us, pierced in arcs:
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
