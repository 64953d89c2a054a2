"""Lists in the order people look for things, with dates, minutes and totals."""

from __future__ import annotations

import re
from datetime import timedelta
from zoneinfo import ZoneInfo

import pytest
from django.urls import reverse
from django.utils import timezone

from shopfloor.models import Nest
from shopfloor.selectors.desk import nest_asked_for
from shopfloor.selectors.shop import shop_zone
from shopfloor.services.nest_ties import nest_tie
from shopfloor.services.queue_office import queue_add


@pytest.fixture
def three(nest, fast, steel):
    """Two more, each made a day after the one before."""
    made = [nest]
    for day, name in ((1, "A-1187"), (2, "2284-10")):
        other = Nest.objects.create(
            name=name, material=steel, wear_set=fast, thickness_mm=6.35, thickness_text="1/4 in"
        )
        Nest.objects.filter(pk=other.pk).update(made_at=nest.made_at + timedelta(days=day))
        made.append(other)
    return made


def words(page, name):
    text = page.get(reverse(name)).content.decode()
    return " ".join(re.sub(r"<[^>]+>", " ", text).split())


def test_nests_open_on_the_newest_with_their_dates(three, sign_in, planner):
    text = words(sign_in(planner), "nests")
    assert text.index("2284-10") < text.index("A-1187") < text.index("2284-1 ")
    assert "Added" in text


@pytest.mark.parametrize(
    ("typed", "found"),
    [("2284-1", "2284-1"), ("a-11", "A-1187"), ("2284", "2284-10"), ("1187", "A-1187"),
     ("", "2284-10"), ("zz", None)],
)  # fmt: skip
def test_a_nest_is_found_by_a_piece_of_its_name(typed, found, three):
    chosen = nest_asked_for(typed)
    assert (chosen and chosen[1]) == found


def test_a_queue_has_minutes_their_sum_and_the_jobs_dates(nest, plan, job, north, sign_in, planner):
    """The nest's plan of 540 s and 300 s of loading, three times: 42 minutes."""
    plan.total_s, plan.load_s = 540.0, 300.0
    plan.save()
    due = timezone.now() + timedelta(days=3, hours=5)  # another hour than that of being queued
    job.due_at = due
    job.save()
    nest_tie(revision=nest.revisions.get(), ties={"2": [(job.lines.get(), None)]})
    for _ in range(3):
        queue_add(nest=nest, table=north)
    text = words(sign_in(planner), "queue")
    assert "3 sheets, 42.0 min planned with loading" in text
    assert text.count("14.0 min") == 3
    assert text.count(f"{due.astimezone(ZoneInfo(shop_zone())):%H:%M}") == 3


def test_a_nest_without_a_plan_is_said(nest, north, sign_in, planner):
    queue_add(nest=nest, table=north)
    assert "1 sheet, 1 not planned yet" in words(sign_in(planner), "queue")
