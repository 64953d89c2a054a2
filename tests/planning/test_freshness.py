"""What was made to begin later plans its nests anew when it begins, and only then."""

from __future__ import annotations

from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from django.utils import timezone

from planning.services.freshness import request_stale_plans
from planning.services.work import run_all_waiting
from shopfloor.books.rates import rate_set
from shopfloor.chart.rows import save_row
from shopfloor.chart.services import chart_apply, part_set, row_end
from shopfloor.models import ChartRow, NestPlan, Work
from tests.shopfloor.conftest import fast, job, nest, steel

__all__ = ["fast", "job", "nest", "steel"]
CHART = (
    b"set,duty,current_a,material,thickness_mm,speed_mm_min,pierce_delay_s\n"
    b"F120,fast,120,A36,6.35,2000,0.5\n"
)
NOON = datetime(2026, 10, 8, 12, 0, tzinfo=ZoneInfo("America/Chicago"))


@pytest.fixture
def planned(nest):
    chart_apply(CHART, at=NOON - timedelta(days=30))
    run_all_waiting()
    NestPlan.objects.update(computed_at=NOON)
    return nest


def wanted() -> int:
    return Work.objects.filter(kind="nest", state="waiting").count()


def test_nothing_is_stale_that_is_newer_than_its_figures(planned):
    assert request_stale_plans(now=NOON + timedelta(days=90)) == 0
    assert wanted() == 0


def test_a_row_that_begins_later_is_planned_when_it_begins(planned, fast, steel):
    later = timezone.now() + timedelta(days=2)
    save_row(wear_set=fast, material=steel, thickness_text="1/4 in", valid_from=later,
            figures={"speed_mm_min": 2500.0, "pierce_delay_s": 0.5})  # fmt: skip
    NestPlan.objects.update(computed_at=timezone.now())
    assert request_stale_plans(now=later - timedelta(minutes=1)) == 0
    assert request_stale_plans(now=later + timedelta(minutes=1)) == 1
    assert wanted() == 1
    NestPlan.objects.update(computed_at=later + timedelta(minutes=2))
    assert request_stale_plans(now=later + timedelta(minutes=7)) == 0


def test_a_rate_of_a_later_day_holds_from_that_days_first_shift(planned):
    rate_set(kind="machine", amount_minor=9000, valid_from=date(2026, 10, 9))
    run_all_waiting()
    NestPlan.objects.update(computed_at=NOON)
    # The night shift from 22:00 to 06:00 belongs to 8 October.
    assert request_stale_plans(now=NOON + timedelta(hours=14)) == 0
    assert request_stale_plans(now=NOON + timedelta(hours=18, minutes=5)) == 1
    NestPlan.objects.update(computed_at=NOON + timedelta(hours=18, minutes=6))
    assert request_stale_plans(now=NOON + timedelta(hours=19)) == 0


def test_a_chart_change_a_rate_and_a_price_plan_anew_at_once(planned, fast):
    chart_apply(CHART.replace(b"2000", b"2100"))
    assert run_all_waiting() == 1
    rate_set(kind="machine", amount_minor=9000, valid_from=date(2026, 1, 1))
    assert run_all_waiting() == 1
    assert NestPlan.objects.get().costs_minor["machine"] > 0
    part_set(wear_set=fast, kind="nozzle", name="nozzle", price_minor=1600, rated_starts=400)
    assert run_all_waiting() == 1
    # Three pierces at 1600 / 400.
    assert NestPlan.objects.get().costs_minor["wear"] == 12
    row_end(row=ChartRow.objects.get(valid_to=None))
    assert run_all_waiting() == 1


def test_a_withdrawn_nest_is_left_alone(planned, north):
    planned.withdrawn_at = NOON
    planned.save()
    north.figures_at = NOON + timedelta(hours=1)
    north.save()
    assert request_stale_plans(now=NOON + timedelta(hours=2)) == 0
