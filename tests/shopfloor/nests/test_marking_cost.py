"""What marking takes of a plan, by hand: its own time and money, on the plan's page and the
quote's."""

from __future__ import annotations

from datetime import date

import pytest
from django.urls import reverse

from planning.services.nest_plan import revision_plan
from planning.services.quote_pricing import made_from
from planning.services.work import run_all_waiting
from shopfloor.chart.services import chart_apply
from shopfloor.models import NestPlan, Rate
from shopfloor.nests.services import revision_add
from shopfloor.site.tables import table_set

CHART = (
    b"set,duty,current_a,material,thickness_mm,speed_mm_min,pierce_delay_s,touch_off_s,arc_v\n"
    b"F120,fast,120,A36,6.35,2000,0.5,1,150\n"
)
# 600 mm are marked and 400 mm cut; the torch rests at each corner, which hardly counts.
TEXT = b"G21 G90\nG0 X20 Y20\nM7\nG1 X620\nM5\nG0 X0 Y0\nM3\nG1 X100\nY100\nX0\nY0\nM5\n"


@pytest.fixture
def plan(nest, north, planner):
    chart_apply(CHART)
    for kind, minor in (("machine", 9000), ("labour", 3600), ("gas", 1800), ("energy", 20)):
        Rate.objects.create(kind=kind, amount_minor=minor, valid_from=date(2020, 1, 1))
    table_set(
        table=north, why="its book", dialect={"torch_mark": ["M7"]}, mark_speed_mm_min=6000,
        accel_mm_s2=1e6, rapid_mm_min=60_000,
    )  # fmt: skip
    revision_add(nest=nest, file_name="marked.nc", raw=TEXT, by=planner)
    run_all_waiting()
    return NestPlan.objects.order_by("-revision__revision")[0]


def test_marking_is_a_term_of_its_own(plan):
    found = plan.snapshot["marking"]
    assert (found["contours"], found["cut_mm"]) == (1, pytest.approx(600))
    assert found["arc_s"] == pytest.approx(6.0, rel=2e-3)  # 600 mm at 100 mm/s
    # Travel of 28.3 mm to it at 1 m/s, and 1 s of touch-off.
    assert found["all_s"] == pytest.approx(6.0 + 1.0 + 0.028, rel=2e-3)
    # 7.03 s at 90.00 and 36.00 an hour; 6 s of gas at 18.00; 150 V x 120 A x 6 s = .03 kWh.
    assert found["costs_minor"] == {"machine": 18, "labour": 7, "gas": 3, "energy": 1}
    assert found["minor"] == 29
    assert plan.cut_s == pytest.approx(6.0 + 12.0, rel=2e-3)


def test_the_plans_page_names_it_and_a_quote_keeps_it(plan, sign_in, planner, owner):
    text = sign_in(owner).get(reverse("plan", args=[plan.pk])).content.decode()
    assert text.count("of which marking") == 2  # of the time and of the cost
    assert "0.29" in text
    text = sign_in(planner).get(reverse("plan", args=[plan.pk])).content.decode()
    assert "of which marking" in text
    assert made_from(plan, None)["marking"]["minor"] == 29


def test_without_a_rate_its_cost_is_unknown(plan, sign_in, owner):
    Rate.objects.filter(kind="gas").delete()
    [again] = revision_plan(revision=plan.revision, now=plan.computed_at)
    assert again.snapshot["marking"]["minor"] is None
    text = sign_in(owner).get(reverse("plan", args=[again.pk])).content.decode()
    assert "unknown: gas" in text.lower()
