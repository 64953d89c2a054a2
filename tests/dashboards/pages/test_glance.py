"""The page of a week or a month."""

from __future__ import annotations

import html
import re

import pytest
from django.urls import reverse

from shopfloor.models import Shift

pytestmark = pytest.mark.django_db


@pytest.mark.parametrize("of", ["week", "month"])
def test_it_shows_shifts_that_open_and_saves_them(a_run, as_, at_noon, of):
    client = as_("supervisor")
    body = client.get(reverse("glance"), {"of": of}).content.decode()
    assert "?day=2026-10-06&amp;shift=early" in body
    assert "/figures/measure/2026-10-06:2026-10-06:" in body
    saved = client.get(reverse("glance"), {"of": of, "table": "Day by day", "as": "csv"})
    assert saved["Content-Type"].startswith("text/csv")
    assert "North" in saved.content.decode("utf-8-sig")


def test_by_person_is_for_who_may_see_it(a_run, as_, at_noon):
    assert "By person" in as_("supervisor").get(reverse("glance")).content.decode()
    assert "By person" not in as_("planner").get(reverse("glance")).content.decode()


@pytest.mark.parametrize("day", ["2026-13-01", "0001-01-01", "9999-12-31"])
def test_what_is_no_date_is_said(north, as_, at_noon, day):
    assert as_("supervisor").get(reverse("glance"), {"from": day}).status_code == 404


def test_a_shift_of_any_name_opens(a_run, as_, at_noon):
    Shift.objects.filter(name="early").update(name="early & 1+1")
    body = as_("supervisor").get(reverse("glance")).content.decode()
    [address] = set(re.findall(r'href="([^"]*day=2026-10-06[^"]*early[^"]*)"', body))
    opened = as_("supervisor").get(html.unescape(address))
    assert "early &amp; 1+1" in opened.content.decode()
    assert opened.status_code == 200
