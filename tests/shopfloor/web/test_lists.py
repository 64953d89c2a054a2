"""Lists in the order people look for things, with dates, minutes and totals."""

from __future__ import annotations

import re
from datetime import timedelta
from zoneinfo import ZoneInfo

import pytest
from django.urls import reverse
from django.utils import timezone

from shopfloor.jobs.services import job_add, line_add
from shopfloor.models import Heat, Nest, QueueItem
from shopfloor.nests.part_lines import assign_parts_to_lines
from shopfloor.nests.queue import queue_add
from shopfloor.runs.desk_queries import nest_asked_for
from shopfloor.site.queries import shop_zone
from shopfloor.stock.services import remnant_add
from shopfloor.stock.sheets import sheets_receive


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
    assign_parts_to_lines(revision=nest.revisions.get(), ties={"2": [(job.lines.get(), None)]})
    for _ in range(3):
        queue_add(nest=nest, table=north)
    text = words(sign_in(planner), "queue")
    assert "3 sheets, 42.0 min planned with loading" in text
    assert text.count("14.0 min") == 3
    assert text.count(f"{due.astimezone(ZoneInfo(shop_zone())):%H:%M}") == 3


def test_a_nest_without_a_plan_is_said(nest, north, sign_in, planner):
    queue_add(nest=nest, table=north)
    assert "1 sheet, 1 not planned yet" in words(sign_in(planner), "queue")


def total(page, address):
    """Words of a list's row of totals, cell by cell."""
    text = page.get(address).content.decode()
    found = re.search(r'<tr class="total">(.*?)</tr>', text, re.DOTALL)
    if found is None:
        return None
    cells = re.findall(r"<t[hd][^>]*>(.*?)</t[hd]>", found[1], re.DOTALL)
    return [" ".join(re.sub(r"<[^>]+>", "", cell).split()) for cell in cells]


def test_jobs_are_added_up_over_all_their_pages(steel, sign_in, planner):
    """60 jobs of 3 parts, 50 on a page."""
    for n in range(60):
        made = job_add(number=f"T-{n}", customer="Oxlode Bridge", title="Plates")
        line_add(job=made, part="p", quantity=3, material=steel, thickness_text="1/4 in")
    page = sign_in(planner)
    on_every_page = ["All 60, on all pages", "", "", "60", "180", "–", "–", "", ""]
    assert total(page, "/jobs/") == total(page, "/jobs/?page=2") == on_every_page
    assert total(page, "/jobs/?q=T-59")[:5] == ["All 1", "", "", "1", "3"]
    assert total(page, "/jobs/?state=all") is None  # of closed ones there is no end


def test_stock_is_added_up_and_says_what_is_unknown(sheet, steel, sign_in, administrator):
    """A sheet of 2.5 x 1.25 m for 415.00, one of 2 x 1 m whose cost nobody knows, and a
    customer's, which has none."""
    more = {"count": 1, "material": steel, "thickness_text": "1/4 in", "length_mm": 2000,
            "width_mm": 1000}  # fmt: skip
    sheets_receive(**more)
    sheets_receive(**more, owner="Oxlode Bridge")
    found = total(sign_in(administrator), "/stock/")
    assert (found[0], found[3], found[7]) == ("All 3", "7.125 m²", "415.00 and 1 unknown")


def test_plate_needed_is_added_up(sheet, nest, north, job, sign_in, planner):
    for place in (10, 20, 30):
        QueueItem.objects.create(nest=nest, table=north, position=place)
    found = total(sign_in(planner), reverse("low_stock"))
    assert found == ["All", "", "1", "0", "1", "0", "3", "2", "–", "2", ""]


def test_heats_say_when_their_first_sheet_came(sheet, sign_in, planner):
    sheet.heat = Heat.objects.create(number="H-77", material=sheet.material)
    sheet.save()
    came = sheet.received_at.astimezone(ZoneInfo(shop_zone()))
    assert f"{came:%H:%M}" in words(sign_in(planner), "heats")


def test_remnants_say_since_when_and_how_much_there_is(sheet, sign_in, administrator):
    left = remnant_add(sheet=sheet, length_mm=1000, width_mm=500, at=timezone.now())
    page = sign_in(administrator)
    came = left.received_at.astimezone(ZoneInfo(shop_zone()))
    assert f"{came:%H:%M}" in words(page, "remnants")
    found = total(page, reverse("remnants"))
    assert found[:4] == ["All 1", "", "", "0.500 m²"]


def test_a_nests_runs_are_added_up(run, sign_in, planner):
    """One run, two good parts and one scrapped."""
    found = total(sign_in(planner), reverse("nest", args=[run.revision.nest_id]))
    assert found == ["All 1", "", "", "", "", "", "2", "1", ""]
