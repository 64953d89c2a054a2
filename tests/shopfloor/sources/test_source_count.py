"""Another source's arcs count from a day on: first the page shows what that changes."""

from __future__ import annotations

import re
from datetime import UTC, date, datetime, time

import pytest
from django.urls import reverse

from shopfloor.models import Month, Shift, Work
from shopfloor.runs.arcs import to_us
from shopfloor.sources.count_queries import count_begins, count_preview
from telemetry.models import Feed, FeedVersion, Rollup
from tests.markup import worded
from tests.shopfloor.runs.test_sources import CONTACT

pytestmark = pytest.mark.django_db
SEP, OCT = datetime(2026, 9, 10, 12, tzinfo=UTC), datetime(2026, 10, 10, 12, tzinfo=UTC)


@pytest.fixture(autouse=True)
def _november(time_machine):
    time_machine.move_to(datetime(2026, 11, 3, 15, tzinfo=UTC), tick=False)


@pytest.fixture
def two(north):
    """Both tell the same of September; of October the second heard 9 arcs instead of 4."""
    values = {"table": "north", "kind": "csv_file", "created_us": 0}
    one = Feed.objects.create(name="one", **values)
    other = Feed.objects.create(name="other", master=False, **values)
    for feed in (one, other):
        FeedVersion.objects.create(feed=feed, version=1, text=CONTACT, made_at=SEP)
    for feed, at, arcs, seconds in (
        (one, SEP, 3, 90), (other, SEP, 3, 90), (one, OCT, 4, 120), (other, OCT, 9, 300),
    ):  # fmt: skip
        Rollup.objects.create(
            feed=feed, table="north", torch="1", bucket_us=to_us(at), arcs=arcs,
            burn_us=seconds * 1_000_000,
        )  # fmt: skip
    return one, other


def test_each_month_says_what_counts_now_and_what_would(two):
    october, september = count_preview(two[1], date(2026, 9, 1))
    assert (october.arcs_now, october.arcs_then) == (4, 9)
    assert (october.now_s, october.then_s) == (120.0, 300.0)
    assert (october.same, september.same) == (False, True)
    (october,) = count_preview(two[1], date(2026, 10, 10))
    assert (october.first_day, october.arcs_now) == (date(2026, 10, 1), 4)
    assert count_preview(two[1], date(2026, 10, 11)) == []


def test_a_day_begins_where_the_night_before_it_ends(north):
    """22:00 to 06:10 in Chicago, in winter 6 h behind UTC: on to the next quarter hour."""
    Shift.objects.all().delete()
    assert count_begins("north", date(2026, 11, 3)) == datetime(2026, 11, 3, 6, tzinfo=UTC)
    Shift.objects.create(
        name="night", start=time(22), end=time(6, 10), weekdays="12345", breaks=[],
        valid_from=date(2026, 1, 1),
    )  # fmt: skip
    assert count_begins("north", date(2026, 11, 3)) == datetime(2026, 11, 3, 12, 15, tzinfo=UTC)
    # 1 November is a Sunday: nobody worked the night before it.
    assert count_begins("north", date(2026, 11, 1)) == datetime(2026, 11, 1, 5, tzinfo=UTC)


def test_only_the_day_that_was_looked_at_can_be_had(two, client, administrator):
    client.force_login(administrator)
    url = reverse("source_count", args=["other"])
    body = worded(client.get(url, {"day": "2026-09-01"}).content.decode())
    assert ">Oct 2026<" in body
    assert ">Sep 2026<" not in body
    client.post(url, {"day": "2026-09-01"})
    client.post(url, {"day": "2026-09-01", "seen": "2026-10-01"})
    assert not Feed.objects.get(name="other").master
    client.post(url, {"day": "2026-10-01", "seen": "2026-10-01"})
    assert [Feed.objects.get(name=name).master for name in ("one", "other")] == [False, True]
    assert Work.objects.filter(kind="recount").count() == 1
    body = client.get(reverse("source", args=["other"])).content.decode()
    # The night shift of 30 September ends at six.
    body = " ".join(worded(body).split())
    assert "one until Thu 1 Oct 06:00; other from Thu 1 Oct 06:00." in body


def test_the_page_posts_the_day_it_shows(two, client, administrator):
    client.force_login(administrator)
    url = reverse("source_count", args=["other"])
    body = client.get(url, {"day": "2026-10-01"}).content.decode()
    form = body[body.index('<form method="post">') :]
    posted = dict(re.findall(r'name="(day|seen)" value="([^"]*)"', form))
    client.post(url, posted)
    assert Feed.objects.get(name="other").master


def test_months_that_are_closed_are_never_touched(two, client, administrator):
    Month.objects.create(first_day=date(2026, 9, 1), closed_at=OCT)
    client.force_login(administrator)
    url = reverse("source_count", args=["other"])
    refused = {"day": "2026-09-30", "seen": "2026-09-30"}
    body = client.post(url, refused).content.decode()
    assert "Choose 2026-10-01 or a later day" in body
    assert not Feed.objects.get(name="other").master
    assert not Work.objects.filter(kind="recount").exists()
