"""Fine cutting that nobody asked for, from runs to the month's ledger."""

from __future__ import annotations

from datetime import UTC, date, datetime

import pytest

from planning.reports import squareness
from planning.reports.square_figure import by_job
from planning.services.months import month_close
from shopfloor.models import Check, Contour, Month, NestPlan, RunDay, Work
from shopfloor.runs.services import plan_snapshot
from tests.planning import cast
from tests.planning.said import open_figure

pytestmark = pytest.mark.django_db
OCTOBER = date(2026, 10, 1)
AFTER = datetime(2026, 11, 2, tzinfo=UTC)
COSTS = ("machine", "labour", "gas", "energy", "wear", "bench")


def plans(revision, table, fine, fast, *, fine_minor=9200, fast_minor=5500):
    """100 m of cut, 72 and 42 min at the table: 0.92 and 0.55 a metre."""
    for the_set, minor, total_s in ((fine, fine_minor, 4320.0), (fast, fast_minor, 2520.0)):
        costs = dict.fromkeys(COSTS, 0) | {"machine": minor}
        NestPlan.objects.create(
            revision=revision, table=table, wear_set=the_set, cut_mm=100_000.0, total_s=total_s,
            load_s=0.0, costs_minor=costs, computed_at=cast.NOON,
        )  # fmt: skip


@pytest.fixture
def sets(shop):
    return cast.wear_set("fine-50", "fine", 50.0), cast.wear_set()


@pytest.fixture
def burnt(north, operator, sets):
    """100 m cut fine: 75 m for J-1, which asks nothing, 25 m for J-2."""
    fine, fast = sets
    _, [one] = cast.job("J-1")
    _, [two] = cast.job("J-2")
    revision = cast.nest(operator, [(one, 1e4, 30), (two, 1e4, 10)], the_set=fine)
    plans(revision, north, fine, fast)
    run = cast.run(revision, north)
    run.segments.update(wear_set=fine)
    RunDay.objects.create(
        run=run, shift_date=cast.NOON.date(), table=north, wear_set=fine, cut_mm=100_000.0,
        evidence="measured",
    )  # fmt: skip
    Month.objects.create(first_day=OCTOBER)
    return run, one, two


def checks(revision, table, by, the_set, values):
    run = cast.run(revision, table, start=cast.at(cast.NOON, -90_000))
    run.segments.update(wear_set=the_set)
    for u_mm in values:
        Check.objects.create(run=run, at=cast.NOON, by=by, u_mm=u_mm)


def test_metres_times_the_difference_shared_by_length(burnt):
    found = squareness(first_day=OCTOBER)
    rows = {row.job: row for row in found.runs.itertuples()}
    # 0.37 a metre and 0.3 min a metre: J-1 27.75 and 22.5 min, J-2 9.25
    assert (rows["J-1"].more_minor, rows["J-2"].more_minor) == (2775, 925)
    assert rows["J-1"].hours_more == pytest.approx(22.5 / 60)
    assert found.total_minor == 3700
    assert found.standing == {"not asked for": pytest.approx(100.0)}


def test_what_a_line_asks_is_held_against_fasts_upper_end(burnt, north, operator, sets):
    run, _, two = burnt
    two.u_range_asked = 3  # up to 0.460 at 6 mm
    two.save()
    found = squareness(first_day=OCTOBER)
    assert found.standing == {"not asked for": 75.0, "not enough checks": 25.0}
    checks(run.revision, north, operator, sets[1], [0.30, 0.31, 0.29, 0.30, 0.30, 0.30])
    assert squareness(first_day=OCTOBER).standing == {"not asked for": pytest.approx(100.0)}
    two.u_range_asked = 2  # up to 0.192
    two.save()
    assert squareness(first_day=OCTOBER).standing == {"not asked for": 75.0, "asked for": 25.0}
    assert squareness(first_day=OCTOBER).total_minor == 2775


def test_a_chart_or_rate_changed_since_judges_nothing_anew(burnt, north, sets):
    run = burnt[0]
    run.plan = plan_snapshot(run.revision, north, sets[0])
    run.save()
    NestPlan.objects.update(cut_mm=50_000.0, costs_minor=dict.fromkeys(COSTS, 7))
    found = squareness(first_day=OCTOBER)
    assert found.total_minor == 3700  # 0.37 a metre, as when it was opened
    NestPlan.objects.all().delete()
    assert squareness(first_day=OCTOBER).total_minor == 3700


def test_where_fast_would_have_cost_more_nothing_was_lost(burnt):
    NestPlan.objects.filter(wear_set__duty="fast").update(
        costs_minor=dict.fromkeys(COSTS, 0) | {"bench": 9900}
    )
    found = squareness(first_day=OCTOBER)
    assert (found.total_minor, found.standing) == (0, {"fine was cheaper": pytest.approx(100.0)})


def test_an_unknown_cost_or_a_refused_set_is_counted_in_metres(burnt):
    NestPlan.objects.filter(wear_set__duty="fast").update(costs_minor={"machine": 100})
    assert squareness(first_day=OCTOBER).standing == {"unpriced": pytest.approx(100.0)}
    NestPlan.objects.filter(wear_set__duty="fast").update(problem="over the pierce limit")
    assert squareness(first_day=OCTOBER).standing == {"no fast route": pytest.approx(100.0)}


def test_a_job_opens_to_its_runs(burnt):
    run, one, _ = burnt
    figure = open_figure(kind="squareness", id=f"2026-10-01:{one.job_id}")
    assert figure.value == "27.75 USD"
    assert [(row.kind, row.id) for row in figure.rows[:-1]] == [("run", str(run.pk))]
    with pytest.raises(LookupError):
        open_figure(kind="squareness", id="2026-10-01:0")


def test_parts_of_no_job_open_too_beside_those_of_one(burnt):
    """J-1 asks nothing of 75 m, 25 m are of no job: 0.37 a metre more each."""
    _, _, two = burnt
    Contour.objects.filter(line=two).update(line=None)
    found = squareness(first_day=OCTOBER)
    of_none = by_job(found, OCTOBER)[-1]
    figure = open_figure(kind="squareness", id=of_none.figure.ref.key)
    assert (figure.value, of_none.cut_m) == ("9.25 USD", pytest.approx(25.0))


def test_a_tenth_of_a_millimetre_is_priced_from_checks_of_both(burnt, north, operator, sets):
    run = burnt[0]
    fine, fast = sets
    checks(run.revision, north, operator, fast, [0.30] * 5)
    assert len(squareness(first_day=OCTOBER).tenths) == 0
    checks(run.revision, north, operator, fine, [0.15] * 5)
    [row] = squareness(first_day=OCTOBER).tenths.to_dict("records")
    # 0.37 a metre for 0.15 mm: 0.25 each 0.1 mm
    assert (row["per_m_minor"], row["per_tenth_minor"]) == (37, 25)


def test_a_closed_month_keeps_what_it_said(burnt, owner):
    Work.objects.all().delete()
    month_close(first_day=OCTOBER, by=owner, now=AFTER)
    before = squareness(first_day=OCTOBER)
    NestPlan.objects.all().delete()
    after = squareness(first_day=OCTOBER)
    assert after.kept
    assert after.total_minor == before.total_minor == 3700
    assert after.runs.to_dict("records") == before.runs.to_dict("records")
    assert after.standing == before.standing


def test_a_month_nothing_was_posted_in_is_not_there(shop):
    with pytest.raises(LookupError):
        squareness(first_day=OCTOBER)
