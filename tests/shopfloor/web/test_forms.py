"""What the office's forms share."""

from __future__ import annotations

from datetime import UTC, datetime

import pytest
from django.core.exceptions import ValidationError
from django.urls import reverse

from shopfloor.models import EnteredCount, Job
from shopfloor.web.forms import DayField, WhenField
from shopfloor.wording.numbers_in import row_number

pytestmark = pytest.mark.django_db


@pytest.mark.parametrize(
    ("text", "instant"),
    [
        ("2026-07-01T12:00", datetime(2026, 7, 1, 17, tzinfo=UTC)),
        # Clocks go back at 02:00 CDT on 1 November 2026: 01:30 comes at 06:30 and at 07:30 UTC.
        ("2026-11-01T01:30", datetime(2026, 11, 1, 6, 30, tzinfo=UTC)),
        # Forward at 02:00 CST on 8 March: 02:30 is left out, an hour on it is 03:30 CDT.
        ("2026-03-08T02:30", datetime(2026, 3, 8, 8, 30, tzinfo=UTC)),
        ("2026-07-01T12:00Z", datetime(2026, 7, 1, 12, tzinfo=UTC)),
        ("2026-07-01T12:00+02:00", datetime(2026, 7, 1, 10, tzinfo=UTC)),
        ("", None),
    ],
)
def test_a_time_is_read_on_the_shops_clock(shop, text, instant):
    assert WhenField(required=False).clean(text) == instant


@pytest.mark.parametrize("text", ["0001-01-01T00:00", "9999-12-31T23:59", "1999-12-31T23:59"])
def test_a_time_no_shop_means_is_refused(shop, text):
    with pytest.raises(ValidationError, match="not within 2000 to 2100"):
        WhenField().clean(text)
    with pytest.raises(ValidationError, match="not within 2000 to 2100"):
        DayField().clean(text[:10])


@pytest.mark.parametrize(
    ("text", "number"),
    [("12", 12), ("0", 0), (None, None), ("", None), ("-1", None), ("٣", None), ("²", None),
     ("9" * 6000, None), ("1\0", None), ("1.0", None)],
)  # fmt: skip
def test_a_rows_number_is_a_number_or_none(text, number):
    assert row_number(text) == number


def test_a_due_time_at_the_end_of_the_calendar_is_said_beside_its_field(shop, client, planner):
    client.force_login(planner)
    said = {"number": "K-1", "customer": "Oxlode", "title": "plates", "weight": 1,
            "due_at": "9999-12-31T23:59"}  # fmt: skip
    answer = client.post(reverse("job_add"), said)
    assert "The year 9999 is not within 2000 to 2100." in answer.content.decode()
    assert not Job.objects.exists()


def test_taking_back_a_count_that_is_none_is_not_found(client, planner, feed):
    client.force_login(planner)
    answer = client.post(
        reverse("source_entered", args=[feed.name]), {"do": "back", "entered": "0,1"}
    )
    assert answer.status_code == 404
    assert not EnteredCount.objects.exists()


def test_a_line_that_is_none_is_not_dropped(client, planner, job):
    client.force_login(planner)
    answer = client.post(reverse("job_act", args=[job.pk]), {"do": "drop", "line": "1,0"})
    assert answer.status_code == 404
    assert job.lines.count() == 1
