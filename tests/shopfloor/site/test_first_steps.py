"""The list of first steps ticks itself off, and is gone after the first run."""

from __future__ import annotations

import re

from django.urls import reverse

from shopfloor.models import Run, Shop
from shopfloor.nests.part_lines import assign_parts_to_lines
from shopfloor.nests.queue import queue_add
from shopfloor.site.first_steps import first_steps, steps_missing
from tests.shopfloor.conftest import AT


def test_an_empty_shop_lacks_everything_and_each_step_leads_somewhere(db, sign_in, administrator):
    Shop.objects.all().delete()
    page = sign_in(administrator)
    assert all(not step.done or "PIN" in step.label for step in first_steps())
    text = page.get(reverse("first_steps")).content.decode()
    rows = re.findall(r'<th scope="row"><a href="([^"]+)">', text)
    assert len(rows) == len(first_steps())
    for address in rows:
        assert page.get(address).status_code in (200, 403), address
    for name in ("today", "sources", "jobs"):
        told = page.get(reverse(name)).content.decode()
        assert "First steps:" in told, name
        assert reverse("first_steps") in told


def test_steps_are_done_as_the_shop_fills(shop, north, nest, job, sheet, operator, steel):
    done = {step.label for step in first_steps() if step.done}
    assert {"A table", "A material", "A job", "A nest", "Plate in stock"} <= done
    assert "Somebody with a PIN for the screens" in done
    assert "A nest’s parts tied to the lines of a job" not in done
    assign_parts_to_lines(revision=nest.revisions.get(), ties={"2": [(job.lines.get(), None)]})
    queue_add(nest=nest, table=north)
    done = {step.label for step in first_steps() if step.done}
    assert {"A nest’s parts tied to the lines of a job", "A nest in a table’s queue"} <= done
    assert [step.label for step in steps_missing()][-1] == "A first run"


def test_after_a_first_run_it_is_off_the_pages(nest, north, sign_in, planner):
    Run.objects.create(
        revision=nest.revisions.get(), table=north, opened_at=AT, closed_at=AT, state="finished"
    )
    assert steps_missing() == []
    assert "First steps:" not in sign_in(planner).get(reverse("jobs")).content.decode()
