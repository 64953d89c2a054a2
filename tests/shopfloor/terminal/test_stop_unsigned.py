"""Whoever stands there may stop the table with a reason, and nothing else."""

from __future__ import annotations

from zoneinfo import ZoneInfo

import pytest
from django.urls import reverse
from django.utils import timezone

from shopfloor.models import Action, Change, Run, Stoppage
from shopfloor.runs.services import run_open
from shopfloor.site.queries import shop_zone
from tests.conftest import PIN

pytestmark = pytest.mark.django_db
URL = "/floor/north/stop"


@pytest.fixture
def running(floor, operator):
    return run_open(
        revision=floor.revision,
        table=floor.table,
        torch=floor.table.torches.get(),
        operator=operator,
        at=timezone.now(),
        queue_item=floor.items[0],
    )


def test_a_stop_without_signing_in_is_marked_so(screen, running):
    assert "Stop without signing in" in screen.get("/floor/north/").content.decode()
    assert screen.post(URL, {"reason": "power"}).status_code == 302
    stop = Stoppage.objects.get()
    assert (stop.run, stop.reason.code, stop.by, stop.note) == (
        running,
        "power",
        None,
        "not signed in",
    )
    assert Run.objects.get().state == "stopped"
    assert Change.objects.filter(table="shopfloor_stoppage", who="screen:north-1").exists()
    assert not Action.objects.exists()


def test_the_sign_in_page_says_that_the_table_is_stopped(screen, running):
    """Whoever pressed a reason sees that it was taken."""
    assert "goes on" in screen.get("/floor/north/").content.decode()
    page = screen.post(URL, {"reason": "power"}, follow=True).content.decode()
    stop = Stoppage.objects.get()
    at = timezone.localtime(stop.started_at, ZoneInfo(shop_zone())).strftime("%H:%M")
    assert f"stopped at {at}, {stop.reason.label}" in page


def test_the_next_who_signs_in_is_asked_and_named(screen, running, operator):
    screen.post(URL, {"reason": "power"})
    screen.post(reverse("floor:sign_in", args=["north"]), {"badge": operator.badge, "pin": PIN})
    page = screen.get("/floor/north/").content.decode()
    assert "Entered without signing in." in page
    from shopfloor.runs.stoppages import stoppage_explain

    stop = Stoppage.objects.get()
    stoppage_explain(stoppage=stop, reason=stop.reason, by=operator)
    assert "Entered without signing in." not in screen.get("/floor/north/").content.decode()
    assert (stop.by, stop.note) == (operator, "")


@pytest.mark.parametrize("reason", ["", "nonsense", "x" * 500])
def test_without_a_reason_nothing_is_kept(screen, running, reason):
    assert screen.post(URL, {"reason": reason}).status_code == 200
    assert not Stoppage.objects.exists()


def test_a_second_one_changes_nothing(screen, running):
    screen.post(URL, {"reason": "power"})
    screen.post(URL, {"reason": "crane"})
    assert Stoppage.objects.get().reason.code == "power"


def test_a_screen_that_is_not_registered_stops_nothing(client, running):
    assert client.post(URL, {"reason": "power"}).status_code == 403
    assert not Stoppage.objects.exists()
