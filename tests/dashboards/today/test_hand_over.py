"""The page on which a shift writes for the next."""

from __future__ import annotations

import pytest
from django.urls import reverse

from shopfloor.models import HandOver

pytestmark = pytest.mark.django_db
URL = "hand_over_write"


def test_the_draft_is_put_right_kept_and_read(a_run, as_, at_noon, supervisor):
    client, north = as_("supervisor"), a_run.table
    body = client.get(reverse(URL)).content.decode()
    assert "On the table:" in body or "Done:" in body
    sent = {"shift": "2026-10-06 early", f"text-{north.pk}": "Gas is low."}
    assert client.post(reverse(URL), sent).status_code == 302
    [row] = HandOver.objects.all()
    assert (row.text, row.by, row.table) == ("Gas is low.", supervisor, north)
    again = client.post(reverse(URL), sent | {f"text-{north.pk}": "Gas is out."}).content.decode()
    assert "has written for North meanwhile" in again
    assert "Gas is out." in again
    assert "Gas is low." in again


def test_a_page_left_open_writes_nothing_for_another_shift(a_run, as_, at_noon):
    sent = {"shift": "2026-10-05 early", f"text-{a_run.table.pk}": "late words"}
    as_("supervisor").post(reverse(URL), sent)
    assert not HandOver.objects.exists()


def test_who_may_not_assign_writes_none(a_run, as_, at_noon):
    assert as_("administrator").get(reverse(URL)).status_code == 403
