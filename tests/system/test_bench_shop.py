"""A grown shop, tiny: its books agree, and every page of it opens."""

from __future__ import annotations

import json
from dataclasses import dataclass

import pytest

from dashboards.bench.shops import Shop, made
from dashboards.bench.visiting import Served
from planning.bench.bigshop.size import Size
from tests.processes import manage

pytestmark = pytest.mark.long

TINY = Size(pairs=2, blocks=2, days=7)
BOOKS = """
import json
from django.db import connection
from django.db.models import F, Max, Q, Sum
from django.utils import timezone
from planning.reports.cost import cost_month
from planning.services.bulk import recompute_all
from shopfloor.models import ArcAssignment, Fitting, Job, Month, Posting, Run, Table
from telemetry.models import Arc, Rollup
connection.check_constraints()
last = Posting.objects.aggregate(last=Max("pk"))["last"]
done = recompute_all(now=timezone.now())
burnt = Arc.objects.exclude(off_us=None).aggregate(us=Sum(F("off_us") - F("on_us")))["us"]
past = Run.objects.filter(opened_at__lt=timezone.now() - timezone.timedelta(days=7))
months = Month.objects.order_by("first_day")
print(json.dumps({
    "posted_anew": Posting.objects.filter(pk__gt=last).count(), "runs": done["runs"],
    "tables": Table.objects.count(), "burnt_us": burnt,
    "summed_us": Rollup.objects.aggregate(us=Sum("burn_us"))["us"],
    "open_in_the_past": past.exclude(state="finished").count(),
    "twice_in_a_torch": sum(
        Fitting.objects.filter(
            Q(removed_at=None) | Q(removed_at__gt=one.fitted_at), torch=one.torch_id,
            piece__part=one.piece.part_id, fitted_at__lt=one.fitted_at,
        ).count()
        for one in Fitting.objects.select_related("piece")
    ),
    "months": [
        [cost_month(first_day=month.first_day).total_minor,
         month.postings.aggregate(sum=Sum("amount_minor"))["sum"] or 0] for month in months
    ],
}))
"""  # fmt: skip


@dataclass(frozen=True)
class Tiny:
    shop: Shop
    books: dict


@pytest.fixture(scope="module")
def tiny(tmp_path_factory) -> Tiny:
    cache = tmp_path_factory.mktemp("shops")
    shop = made({"tiny": TINY}, say=lambda text: None, cache=cache)["tiny"]
    done = manage("shell", "-v0", "-c", BOOKS, env=shop.environment())
    return Tiny(shop, json.loads(done.stdout.splitlines()[-1]))


def test_working_everything_out_again_posts_nothing(tiny):
    assert tiny.books["runs"] > 100
    assert tiny.books["posted_anew"] == 0


def test_every_months_report_is_the_sum_of_its_postings(tiny):
    assert any(total for total, _posted in tiny.books["months"])
    assert all(total == posted for total, posted in tiny.books["months"])


def test_quarter_hours_sum_to_the_arcs(tiny):
    assert tiny.books["tables"] == 4
    assert tiny.books["summed_us"] == tiny.books["burnt_us"] > 0


def test_the_past_is_over(tiny):
    assert tiny.books["open_in_the_past"] == 0
    assert tiny.books["twice_in_a_torch"] == 0


def test_every_page_opens_to_somebody_and_none_fails(tiny):
    roles = ("owner", "administrator", "supervisor", "operator", "planner")
    with Served(tiny.shop, timeout_s=60) as served:
        answers = {}
        for label in served.addresses:
            for role in roles:
                came = served.visit(label, role)
                answers[label] = [(one.status, one.said) for one in came]
                if all(one.status in (200, 204) for one in came):
                    break
    away = {"home", "help_own", "login", "floor:runmap newest"}  # lead on to a page
    closed = {
        label: told
        for label, told in answers.items()
        if label not in away and any(status not in (200, 204) for status, _ in told)
    }
    assert closed == {}
    assert len(answers) > 180
