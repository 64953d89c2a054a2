"""A job list that was brought in is undone as one thing; what work was done on stays."""

from __future__ import annotations

import pytest
from django.urls import reverse
from django.utils import timezone

from shopfloor.audit.actor import acting
from shopfloor.jobs.import_list import import_apply
from shopfloor.jobs.import_undo import import_undo, import_undoing
from shopfloor.jobs.services import line_edit
from shopfloor.models import Change, Contour, Customer, Job, JobLine, JobList

RAW = b"""job,customer,title,line,part,quantity,material,thickness
B-1,Hollin Gate Works,Frames,1,rail,4,A36,6 mm
B-1,,,2,rib,8,A36,6 mm
B-2,Hollin Gate Works,Doors,1,leaf,2,A36,6 mm
K-2284,,,2,cover,3,A36,1/4 in
"""


@pytest.fixture
def brought(job, planner):
    """Three lines of two new jobs of a new customer, and a second line of a job there was."""
    with acting(f"user:{planner.get_username()}"):
        plan = import_apply(RAW, file_name="jobs.csv", by=planner)
    assert (plan.new_lines, plan.faults) == (4, [])
    return JobList.objects.get()


def test_an_import_goes_as_one_thing_with_its_reason_on_the_trail(brought, planner, job):
    done = import_undo(job_list=brought, by=planner, why="wrong file", now=timezone.now())
    assert done.kept == []
    assert list(Job.objects.values_list("number", flat=True)) == ["K-2284"]
    assert list(JobLine.objects.values_list("part", flat=True)) == ["plate"]
    assert not Customer.objects.filter(name="Hollin Gate Works").exists()
    brought.refresh_from_db()
    assert brought.undone_by == planner
    gone = Change.objects.filter(operation="delete", why="wrong file", who=f"user:{planner}")
    assert gone.count() == 4 + 2 + 1


def test_what_was_changed_or_nested_since_is_named_and_kept(brought, planner, nest):
    rail, rib = JobLine.objects.get(part="rail"), JobLine.objects.get(part="rib")
    cover = JobLine.objects.get(part="cover")
    Contour.objects.filter(pk=Contour.objects.first().pk).update(line=cover)
    with acting(f"user:{planner.get_username()}"):
        line_edit(line=rail, **_as_it_is(rail) | {"quantity": 5})
    found = import_undoing(brought)
    assert [line.part for line in found.lines] == ["rib", "leaf"]
    assert [job.number for job in found.jobs] == ["B-2"]
    assert found.kept == [
        "Line 1 of B-1, rail: somebody changed it after the import.",
        "Line 2 of K-2284, cover: it is on a nest.",
        "Job B-1: it has lines that stay.",
    ]
    import_undo(job_list=brought, by=planner, why="wrong file", now=timezone.now())
    assert not JobLine.objects.filter(pk=rib.pk).exists()
    assert JobLine.objects.filter(part="rail").exists()
    assert Customer.objects.filter(name="Hollin Gate Works").exists()


def test_a_job_that_stays_keeps_its_lines(brought, planner):
    job = Job.objects.get(number="B-1")
    with acting(f"user:{planner.get_username()}"):
        job.title = "Frames, second batch"
        job.save(update_fields=["title"])
    done = import_undo(job_list=brought, by=planner, why="wrong file", now=timezone.now())
    assert [line.part for line in done.lines] == ["leaf", "cover"]
    assert [line.part for line in job.lines.order_by("number")] == ["rail", "rib"]
    assert "Job B-1: somebody changed it after the import." in done.kept


def test_the_page_names_what_goes_and_asks_for_a_reason(brought, planner, sign_in):
    page = sign_in(planner)
    assert "Undo it" in page.get(reverse("job_import")).content.decode()
    url = reverse("job_import_undo", args=[brought.pk])
    assert "4 lines and 2 jobs" in page.get(url).content.decode()
    page.post(url, {"why": ""})
    assert Job.objects.filter(number="B-1").exists()
    page.post(url, {"why": "wrong file"})
    assert not Job.objects.filter(number="B-1").exists()
    again = page.post(url, {"why": "once more"})
    assert "It was undone" in again.content.decode()


def _as_it_is(line):
    return {
        "part": line.part, "quantity": line.quantity, "material": line.material,
        "thickness_text": line.thickness_text, "u_range_asked": line.u_range_asked,
        "next_step": line.next_step, "must_be_fine": line.must_be_fine,
    }  # fmt: skip
