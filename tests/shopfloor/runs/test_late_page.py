"""Two counts of one sheet, from the tablet without a network to the supervisor's decision."""

from __future__ import annotations

import re
from datetime import UTC, datetime
from importlib import import_module

import pytest
import time_machine
from django.apps import apps
from django.urls import reverse
from django.utils import timezone

from planning.services.notes import notes_sweep
from shopfloor.models import Action, Run
from shopfloor.runs.late_queries import decided_lately
from shopfloor.runs.part_counts import line_counts
from tests.planning.swept import today_swept
from tests.shopfloor.floor_shop import MINUTE

DAY = datetime(2026, 6, 1, tzinfo=UTC)


@pytest.fixture
def late(floor, supervisor):
    """A tablet 3 min fast says 14:10, which is 14:07, and 18 good; the desk said 20 at 14:20."""
    line = floor.line(number="K-77", quantity=30)
    revision = floor.nest(contours=20, lines=[line])
    floor.done("start", DAY.replace(hour=13), queue_item=floor.queue(revision).pk)
    closed = DAY.replace(hour=14, minute=20)
    floor.done("finish", closed, person=supervisor, parts=[{"line": line.pk, "good": 20}])
    floor.do(
        "finish",
        DAY.replace(hour=14, minute=7),
        now=DAY.replace(hour=14, minute=40),
        fast_by=3 * MINUTE,
        parts=[{"line": line.pk, "good": 18, "scrap": 2, "cause": "double arc"}],
        run=str(Run.objects.get().pk),
    )
    return line


def words(page):
    return " ".join(re.sub(r"<[^>]+>", " ", page.content.decode()).split())


def decide(client, do, why="counted again"):
    action = Action.objects.get(state="conflict")
    url = reverse("late_decide", args=[action.pk])
    return words(client.post(url, {"do": do, "why": why}, follow=True))


@time_machine.travel(DAY.replace(hour=15), tick=False)  # next year its dates show their year
def test_both_counts_stand_side_by_side(late, client, supervisor):
    client.force_login(supervisor)
    text = words(client.get(reverse("late")))
    # 14:07 UTC is 09:07 in Chicago, 14:10 is 09:10, 14:20 is 09:20, 14:40 is 09:40.
    assert "Came in late: Milo Brandt, Mon 1 Jun 09:07" in text
    assert "In the books: Dana Okell, Mon 1 Jun 09:20" in text
    assert "Mon 1 Jun 09:10 on a device 3 min fast" in text
    assert "received Mon 1 Jun 09:40" in text
    assert "K-77 /1 ring 18 2 0 20 0 0" in text


def test_a_clock_off_by_less_than_a_second_is_right(late, client, supervisor):
    Action.objects.update(device_offset_ms=-400)
    client.force_login(supervisor)
    text = client.get(reverse("late")).content.decode()
    assert "two counts" in text
    assert "on a device" not in text


def test_the_job_shows_a_range_until_somebody_decides(late, client, supervisor):
    client.force_login(supervisor)
    job = reverse("job", args=[late.job_id])
    before = words(client.get(job))
    assert "18–20" in before
    assert "10–12" in before  # owed of 30
    assert "A sheet has two counts. Decide between them" in before
    assert "Milo Brandt’s entry is in the books now" in decide(client, "take")
    after = words(client.get(job))
    assert "18–20" not in after
    assert (line_counts([late.pk])[late.pk].good, "two counts" in after) == (18, False)


def test_set_aside_leaves_the_books_and_says_who_and_why(late, client, supervisor):
    client.force_login(supervisor)
    text = decide(client, "aside", "the pallet holds 20")
    assert "rejected Dana Okell the pallet holds 20" in text
    assert line_counts([late.pk])[late.pk].good_low == 20
    assert not Action.objects.filter(state="conflict").exists()


@pytest.mark.parametrize(("do", "why"), [("take", " "), ("", "x"), ("drop", "x")])
def test_without_a_reason_or_a_choice_nothing_is_decided(late, client, supervisor, do, why):
    client.force_login(supervisor)
    decide(client, do, why)
    assert Action.objects.filter(state="conflict").count() == 1


def test_what_was_decided_is_found_by_when(late, client, supervisor):
    client.force_login(supervisor)
    assert decided_lately() == []
    with time_machine.travel(DAY.replace(hour=15), tick=False):
        decide(client, "take")
    [action] = decided_lately()
    assert action.decided_at == DAY.replace(hour=15)
    Action.objects.filter(pk=action.pk).update(state="undone")
    assert decided_lately() == []


def test_entries_decided_before_that_was_kept_are_given_their_time(late, client, supervisor):
    client.force_login(supervisor)
    with time_machine.travel(DAY.replace(hour=15), tick=False):
        decide(client, "take")
    Action.objects.update(decided_at=None)
    import_module("shopfloor.migrations.0029_action_decided").from_results(apps, None)
    at = dict(Action.objects.exclude(decided_at=None).values_list("kind", "decided_at"))
    assert at == {"finish": DAY.replace(hour=15)}


def test_twice_decided_is_decided_once(late, client, supervisor):
    client.force_login(supervisor)
    action = Action.objects.get(state="conflict")
    decide(client, "take")
    url = reverse("late_decide", args=[action.pk])
    text = words(client.post(url, {"do": "aside", "why": "x"}, follow=True))
    assert "That is decided already." in text
    assert line_counts([late.pk])[late.pk].good == 18


def test_today_says_so_and_leads_there(late, client, supervisor, operator):
    note = next(
        one
        for one in today_swept(now=DAY.replace(hour=15)).notes
        if one.acts and one.acts[0].code == "late"
    )
    assert "Milo Brandt counted 18 good at 09:07, the books say 20 by Dana Okell" in note.body
    notes_sweep(now=timezone.now())
    client.force_login(supervisor)
    action = Action.objects.get(state="conflict")
    assert f'href="/jobs/late/#entry-{action.pk}"' in client.get("/today/").content.decode()


def test_an_operator_decides_nothing(late, client, operator):
    client.force_login(operator)
    assert client.get(reverse("late")).status_code == 403
    url = reverse("late_decide", args=[Action.objects.get(state="conflict").pk])
    assert client.post(url, {"do": "take", "why": "x"}).status_code == 403
