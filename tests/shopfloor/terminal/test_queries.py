"""A tablet asks for its screens every few seconds: what that takes does not grow with the list."""

from __future__ import annotations

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils import timezone
from django.utils.html import escape

from shopfloor.models import Job, Nest, QueueItem
from shopfloor.nests.papers import paper_code, paper_drawn, plan_on, setup_said, traveler_said

pytestmark = pytest.mark.django_db
PAGE = "/floor/north/state"


def setup_sheet(nest, table, by):
    revision = nest.revisions.get()
    said = setup_said(nest, revision, plan_on(nest, revision, table))
    return paper_drawn(kind="setup", said=said, by=by, now=timezone.now(), nest=nest, table=table)


def traveler(job, by):
    said = traveler_said(job)
    return paper_drawn(kind="traveler", said=said, by=by, now=timezone.now(), job=job)


@pytest.fixture
def papers(floor, planner):
    """A setup sheet of each nest on the list, and a traveler of each of their jobs."""
    sheets = [setup_sheet(item.nest, floor.table, planner) for item in floor.items]
    return sheets + [traveler(job, planner) for job in Job.objects.order_by("pk")]


def queries(client):
    client.get(PAGE)
    with CaptureQueriesContext(connection) as asked:
        assert client.get(PAGE).status_code == 200
    return len(asked)


def test_papers_and_a_longer_list_take_no_more_queries(signed_in, floor, papers):
    whole = queries(signed_in)
    QueueItem.objects.exclude(pk=floor.items[0].pk).update(state="done")
    one = queries(signed_in)

    assert whole <= one


def test_each_paper_in_force_leads_to_its_start(signed_in, floor, papers):
    page = signed_in.get(PAGE).content.decode()
    assert len(papers) == 5
    for paper in papers:
        assert escape(paper_code(paper)) in page


def test_a_paper_that_says_something_old_leads_nowhere(signed_in, floor, papers, planner):
    old = [paper_code(paper) for paper in papers]
    nest = floor.items[0].nest
    Nest.objects.filter(pk=nest.pk).update(thickness_text="1/2 in")
    floor.job.lines.update(quantity=7)
    page = signed_in.get(PAGE).content.decode()
    gone = [code for code in old if escape(f'"{code}"') not in page]
    assert gone == [old[0], f"{floor.job.number}.t1"]
    nest.refresh_from_db()
    again = [setup_sheet(nest, floor.table, planner), traveler(floor.job, planner)]
    page = signed_in.get(PAGE).content.decode()
    assert [escape(f'"{paper_code(paper)}"') in page for paper in again] == [True, True]
    assert [escape(f'"{code}"') in page for code in gone] == [False, False]


def test_a_setup_sheet_of_another_table_leads_nowhere(signed_in, floor, south, planner):
    paper = setup_sheet(floor.items[0].nest, south, planner)
    assert escape(paper_code(paper)) not in signed_in.get(PAGE).content.decode()
