"""A page asks the database as often for ten rows as for one."""

from __future__ import annotations

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from shopfloor.jobs.services import job_add, line_add
from shopfloor.models import PartResult, Run
from shopfloor.nests.part_lines import assign_parts_to_lines
from shopfloor.nests.queue import queue_add
from shopfloor.nests.services import nest_add
from shopfloor.stock.sheets import sheets_receive
from tests.shopfloor.conftest import AT, PROGRAM


def more(count, steel, fast, north, planner, operator, tag):
    """Jobs with lines, nests, sheets, runs and results; all on one more heat."""
    sheets = sheets_receive(
        count=count, material=steel, thickness_text="1/4 in", length_mm=2000, width_mm=1000,
        heat_number="H77", code=tag,
    )  # fmt: skip
    for n, sheet in enumerate(sheets):
        job = job_add(number=f"{tag}-{n}", customer=f"{tag} {n}", title="t", due_at=AT)
        line = line_add(job=job, part="p", quantity=5, material=steel, thickness_text="1/4 in")
        nest = nest_add(
            name=f"{tag}-{n}", file_name="a.nc", raw=PROGRAM, material=steel,
            thickness_text="1/4 in", wear_set=fast, table=north, by=planner,
        )  # fmt: skip
        revision = nest.revisions.get()
        assign_parts_to_lines(revision=revision, ties={"2": [(line, None)]})
        run = Run.objects.create(revision=revision, sheet=sheet, table=north, opened_at=AT)
        PartResult.objects.create(
            run=run, line=line, outcome="good", quantity=1, by=operator, at=AT
        )
        queue_add(nest=nest, table=north)


def count(client, url):
    with CaptureQueriesContext(
        connection,
    ) as asked:
        assert client.get(url).status_code == 200
    return len(asked)


@pytest.mark.parametrize("name", ["jobs", "jobs_csv", "nests", "queue", "stock", "heats", "heat"])
def test_lists_ask_no_more_for_more(
    name, client, owner, steel, fast, north, planner, operator, shop
):
    client.force_login(owner)
    more(2, steel, fast, north, planner, operator, "A")
    from shopfloor.models import Heat

    args = [Heat.objects.get().pk] if name == "heat" else []
    few = count(client, reverse(name, args=args))
    more(8, steel, fast, north, planner, operator, "B")
    assert count(client, reverse(name, args=args)) == few
    assert few <= 14, "session, person, rights and shop take about eight of these"


def test_a_job_asks_no_more_for_more_lines_and_runs(
    client, owner, steel, nest, sheet, north, operator, job
):
    client.force_login(owner)

    def add():
        line = line_add(job=job, part="p", quantity=5, material=steel, thickness_text="1/4 in")
        run = Run.objects.create(
            revision=nest.revisions.get(), sheet=sheet, table=north, opened_at=AT
        )
        PartResult.objects.create(
            run=run, line=line, outcome="good", quantity=1, by=operator, at=AT
        )

    assign_parts_to_lines(revision=nest.revisions.get(), ties={"2": [(job.lines.get(), None)]})
    add()
    few = count(client, reverse("job", args=[job.pk]))
    for _ in range(6):
        add()
    assert count(client, reverse("job", args=[job.pk])) == few


def test_a_nest_asks_no_more_for_more_runs(client, owner, nest, plan, sheet, north):
    client.force_login(owner)
    revision = nest.revisions.get()
    Run.objects.create(revision=revision, sheet=sheet, table=north, opened_at=AT)
    few = count(client, reverse("nest", args=[nest.pk]))
    for _ in range(6):
        Run.objects.create(revision=revision, sheet=sheet, table=north, opened_at=AT)
    assert count(client, reverse("nest", args=[nest.pk])) == few


def test_long_lists_come_in_pages(client, owner, shop):
    client.force_login(owner)
    for n in range(60):
        job_add(number=f"K-{n:03}", customer="Oxlode Bridge", title="t")
    first, second = (client.get(reverse("jobs"), {"page": n}).context["page_obj"] for n in (1, 2))
    assert (len(first), len(second)) == (50, 10)
    assert client.get(reverse("jobs"), {"page": "x"}).status_code == 200
    assert client.get(reverse("jobs"), {"q": "K-007"}).context["page_obj"].paginator.count == 1
