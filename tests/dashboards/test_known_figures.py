"""What a page says is whole, in the shop's time, and unknown where a part of it is."""

from __future__ import annotations

from datetime import UTC, date, datetime

import pytest

from planning.reports.cost import unfinished_runs
from shopfloor.audit.actor import acting
from shopfloor.models import Heat, NestPlan, PartResult
from shopfloor.templatetags.office import cost_sum
from tests.planning import cast

pytestmark = pytest.mark.django_db
COSTS = {"machine": 100, "labour": 50, "gas": 1, "energy": 2, "wear": 3}


def test_a_cost_without_its_bench_is_unknown():
    assert cost_sum(NestPlan(costs_minor=COSTS)) is None
    assert cost_sum(NestPlan(costs_minor=COSTS | {"bench": 0})) == 156
    assert cost_sum(NestPlan(costs_minor={})) is None


def test_runs_that_go_on_from_the_month_before_are_counted(a_run, north, operator):
    for start in (cast.NOON, datetime(2026, 9, 30, tzinfo=UTC)):
        cast.run(a_run.revision, north, start=start, state="open", seconds=None)
    assert unfinished_runs(first_day=date(2026, 10, 1)) == 2
    assert unfinished_runs(first_day=date(2026, 9, 1)) == 1


def test_a_runs_history_is_on_the_shops_clock(a_run, as_):
    """17:30 UTC is 12:30 in Chicago."""
    with acting("user:dana"):
        a_run.closed_at = cast.at(cast.NOON, 1800)
        a_run.save(update_fields=["closed_at"])
    body = as_("supervisor").get(f"/runs/{a_run.pk}/").content.decode()
    assert "closed Tue 6 Oct 13:00 → Tue 6 Oct 12:30" in body
    assert "17:30" not in body


def test_good_parts_of_unknown_heat_are_said(a_run, operator, as_):
    """Three good parts of a run without a sheet, two of heat H-1."""
    line = a_run.revision.contours.first().line
    heat = Heat.objects.create(number="H-1", material=cast.material())
    known = cast.run(a_run.revision, a_run.table, sheet=cast.sheet(heat=heat))
    for run, quantity in ((a_run, 3), (known, 2)):
        PartResult.objects.create(
            run=run, line=line, outcome="good", quantity=quantity, by=operator, at=cast.NOON
        )
    body = as_("owner").get(f"/jobs/{line.job_id}/").content.decode()
    assert "H-1</a>: 2 parts" in body
    assert "heat unknown: 3 parts" in body


def test_wear_says_the_day_it_was_fitted_by_the_shops_clock(north, operator, as_, at_noon):
    """02:00 UTC on 6 October is the evening of the 5th in Chicago."""
    piece = cast.piece("electrode", label="E-7")
    cast.fitting(piece, north, datetime(2026, 10, 6, 2, tzinfo=UTC), by=operator)
    body = as_("supervisor").get("/wear/").content.decode()
    assert "fitted 5 Oct" in body
    assert "fitted 6 Oct" not in body
