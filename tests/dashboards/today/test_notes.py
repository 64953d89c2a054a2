"""The notes of a day, and who has seen one."""

from __future__ import annotations

import pytest
from django.urls import reverse

from planning.services.notes import notes_sweep
from shopfloor.models import ShopNote
from tests.dashboards.conftest import NOW

pytestmark = pytest.mark.django_db


@pytest.fixture
def note(loose, at_noon):
    notes_sweep(now=NOW)
    return ShopNote.objects.get(code="arcs")


def test_the_day_lists_what_stood_and_saves_it(note, as_):
    client = as_("supervisor")
    body = client.get(reverse("notes")).content.decode()
    assert "Arcs without a job" in body
    assert "still open" in body
    saved = client.get(reverse("notes"), {"table": "Notes of the day", "as": "csv"})
    assert saved["Content-Type"].startswith("text/csv")
    assert "Arcs without a job" in saved.content.decode("utf-8-sig")
    assert (
        "Arcs without a job"
        not in client.get(reverse("notes"), {"day": "2026-10-05"}).content.decode()
    )


@pytest.mark.parametrize("day", ["2026-13-01", "0001-01-01", "9999-12-31", "٣"])
def test_a_day_that_is_none_is_said(north, as_, at_noon, day):
    assert as_("supervisor").get(reverse("notes"), {"day": day}).status_code == 404


def test_who_has_seen_it_is_shown_to_those_who_may_see_persons(note, as_, supervisor):
    client = as_("supervisor")
    address = reverse("note_seen", args=[note.pk])
    assert "Mark as seen" in client.get("/today/").content.decode()
    assert client.get(address).status_code == 405
    for _ in range(2):
        assert client.post(address).status_code == 302
    note.refresh_from_db()
    assert [one["name"] for one in note.seen] == [supervisor.shown_name]
    assert f"Seen by {supervisor.shown_name}" in client.get("/today/").content.decode()
    others = as_("planner").get("/today/").content.decode()
    assert supervisor.shown_name not in others.partition('id="day"')[2]


def test_what_was_done_about_a_note_ends_it_at_once(note, as_):
    """Whoever gave the arcs away does not wait for the worker."""
    client = as_("supervisor")
    client.post(reverse("assign_arcs"), {"first_key": note.values["first_key"], "arcs": "99"})
    note.refresh_from_db()
    assert note.ended_at is not None
    assert "Arcs without a job" not in client.get("/today/").content.decode()
