"""Counting another source's arcs takes effect in all of history: first it shows what it changes."""

from __future__ import annotations

from datetime import UTC, date, datetime

import pytest
from django.urls import reverse

from shopfloor.models import Month
from shopfloor.selectors.arcs import to_us
from shopfloor.selectors.source_count import count_preview
from telemetry.models import Feed, Rollup

pytestmark = pytest.mark.django_db
SEP, OCT = datetime(2026, 9, 10, 12, tzinfo=UTC), datetime(2026, 10, 10, 12, tzinfo=UTC)


@pytest.fixture
def two(north):
    """Both tell the same of September; of October the second heard 9 arcs instead of 4."""
    values = {"table": "north", "kind": "csv_file", "created_us": 0}
    one = Feed.objects.create(name="one", **values)
    other = Feed.objects.create(name="other", master=False, **values)
    for feed, at, arcs, seconds in (
        (one, SEP, 3, 90), (other, SEP, 3, 90), (one, OCT, 4, 120), (other, OCT, 9, 300),
    ):  # fmt: skip
        Rollup.objects.create(
            feed=feed, table="north", torch="1", bucket_us=to_us(at), arcs=arcs,
            burn_us=seconds * 1_000_000,
        )  # fmt: skip
    return one, other


def test_each_month_says_what_counts_now_and_what_would(two):
    Month.objects.create(first_day=date(2026, 9, 1), closed_at=OCT)
    october, september = count_preview(two[1])
    assert (october.arcs_now, october.arcs_then) == (4, 9)
    assert (october.now_s, october.then_s) == (120.0, 300.0)
    assert (october.same, september.same) == (False, True)
    assert (october.closed, september.closed) == (False, True)


def test_one_click_shows_it_and_only_the_second_does_it(two, client, administrator):
    client.force_login(administrator)
    client.post(reverse("source_act", args=["other"]), {"do": "master"})
    assert not Feed.objects.get(name="other").master
    body = client.get(reverse("source_count", args=["other"])).content.decode()
    assert "October 2026" in body
    assert "September 2026" not in body
    client.post(reverse("source_act", args=["other"]), {"do": "master", "seen": "changes"})
    assert [Feed.objects.get(name=name).master for name in ("one", "other")] == [False, True]
