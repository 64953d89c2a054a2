"""Sums of a few feeds at once are those that recomputing each alone gives."""

from __future__ import annotations

import random

import pytest
from django.db import connection

from telemetry.models import Arc, Cursor, Rollup
from telemetry.services import feed_register
from telemetry.store.commit import settle
from telemetry.store.rollups import BUCKET_US, DueBuckets
from tests.telemetry.table_lines import feed_text

pytestmark = pytest.mark.django_db
_DAY = 96


def sums() -> list[tuple]:
    fields = ("feed_id", "table", "torch", "bucket_us", "burn_us", "arcs", "pierces")
    return sorted(Rollup.objects.values_list(*fields))


@pytest.mark.parametrize("seed", range(6))
def test_sums_settled_together_are_those_recomputed_one_by_one(seed: int) -> None:
    chance = random.Random(seed)
    text = feed_text("x").replace('kind = "csv_file"\npath = "x"', 'kind = "push"')
    every = []
    for n in range(4):
        feed = feed_register(name=f"t{n}", text=text, by="test")
        Cursor.objects.create(feed=feed, lane="live", state={"tie": [n, 0], "due": {"1": [1]}})
        due, at_us = DueBuckets(), 100_000 * BUCKET_US
        for arc in range(60):
            at_us += chance.randrange(
                BUCKET_US // 2 if chance.random() < 0.95 else _DAY * BUCKET_US
            )
            off_us = at_us + chance.randrange(3 * BUCKET_US)
            torch = chance.choice("12")
            Arc.objects.create(
                key=f"{n}|{arc}", feed=feed, table=feed.table, torch=torch, on_us=at_us,
                off_us=chance.choice([off_us, off_us, None]), ended="off",
                pierces=chance.choice([0, 1, 2, None]), feed_version=1, changed_us=arc,
            )  # fmt: skip
            for bucket in range(at_us // BUCKET_US, off_us // BUCKET_US + 1):
                due._buckets[torch].add(bucket)
        due._buckets["2"].add(99_000)  # one without any arc
        Rollup.objects.create(
            feed=feed, table="old", torch="2", bucket_us=99_000 * BUCKET_US, burn_us=1, arcs=1
        )
        every.append((feed, "live", due))
    dues = [DueBuckets.listed(due.as_lists()) for _, _, due in every]
    settle(every)
    together = sums()
    assert not any(due for _, _, due in every)
    assert list(Cursor.objects.order_by("feed").values_list("state", flat=True)) == [
        {"tie": [n, 0]} for n in range(4)
    ]
    Rollup.objects.all().update(burn_us=-1, arcs=0)
    for (feed, _, _), due in zip(every, dues, strict=True):
        due.recompute(feed)
    assert sums() == together
    assert {row[2] for row in together} == {"1", "2"}
    assert connection.in_atomic_block


def test_a_source_that_makes_up_torches_by_the_hundred_is_settled_too() -> None:
    """SQLite joins 500 selects at most (its page on limits)."""
    text = feed_text("x").replace('kind = "csv_file"\npath = "x"', 'kind = "push"')
    feed = feed_register(name="t", text=text, by="test")
    Cursor.objects.create(feed=feed, lane="live", state={})
    due, at_us = DueBuckets(), 100_000 * BUCKET_US
    for n in range(300):
        Arc.objects.create(
            key=f"t|{n}", feed=feed, table=feed.table, torch=f"x{n}", on_us=at_us,
            off_us=at_us + n, ended="off", pierces=1, feed_version=1, changed_us=n,
        )  # fmt: skip
        due._buckets[f"x{n}"].add(100_000)
    settle([(feed, "live", due)])
    assert {(row[2], row[4]) for row in sums()} == {(f"x{n}", n) for n in range(300)}
