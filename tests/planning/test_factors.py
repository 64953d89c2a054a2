"""What may teach a factor, and what becomes of one once a person has answered."""

from __future__ import annotations

from datetime import timedelta

import pytest

from planning.inputs.taken import ENTERED, PARTIAL, SETS, UNHEARD, taken_runs
from planning.services.factors import (
    FactorError,
    factor_accept,
    factor_decline,
    factor_end,
    factors_propose,
)
from planning.services.nest_plan import nest_plan
from shopfloor.models import Change, Factor, NestPlan, RunDay, RunVariance, Work
from tests.planning import cast
from tests.planning.test_nest_plan import SQUARE, _row

pytestmark = pytest.mark.django_db
NOW = cast.NOON + timedelta(days=2)


@pytest.fixture
def revision(north, operator):
    _row(cast.wear_set(), 6.0, 3000.0)
    _, [line] = cast.job()
    return cast.nest(operator, [(line, 1e4, 10)] * 3, program=SQUARE)


def taken(revision, table, *, elapsed_s, planned_s=1000.0, stopped_s=0.0, day=0, **more):
    """A finished run as planning published it."""
    run = cast.run(
        revision, table, start=cast.at(cast.NOON, 86_400 * day), seconds=elapsed_s,
        evidence=more.pop("evidence", "measured"),
    )  # fmt: skip
    RunVariance.objects.create(
        run=run, planned_s=planned_s, elapsed_s=elapsed_s, arcs=more.pop("arcs", 3),
        spent={"stoppages": stopped_s}, coverage=more.pop("coverage", 1.0), computed_at=cast.NOON,
    )  # fmt: skip
    RunDay.objects.create(
        run=run, shift_date=run.opened_at.date(), table=table, wear_set=cast.wear_set(),
        evidence="measured",
    )  # fmt: skip
    return run


def test_a_stoppage_is_left_out_of_what_a_run_teaches(revision, north):
    taken(revision, north, elapsed_s=1700.0, stopped_s=500.0)
    [run] = taken_runs(now=NOW).runs
    assert (run.moving_s, run.elapsed_s, run.planned_s) == (1200.0, 1700.0, 1000.0)


def test_entered_runs_never_teach(revision, north):
    taken(revision, north, elapsed_s=1100.0, evidence="entered")
    taken(revision, north, elapsed_s=1100.0, arcs=0)
    found = taken_runs(now=NOW)
    assert (found.runs, found.left_out[ENTERED]) == ([], 2)


def test_a_run_with_time_nobody_knows_does_not_teach(revision, north):
    taken(revision, north, elapsed_s=1100.0, coverage=0.9)
    assert taken_runs(now=NOW).left_out[UNHEARD] == 1


def test_a_partial_run_teaches_once_it_says_how_far_it_came(revision, north):
    run = taken(revision, north, elapsed_s=1100.0)
    first = run.segments.get()
    cast.segment(run, cast.at(cast.NOON, 1200), 300, first_contour=3, last_contour=3)
    assert taken_runs(now=NOW).left_out[PARTIAL] == 1
    first.last_contour = 2
    first.save()
    assert len(taken_runs(now=NOW).runs) == 1


def test_an_end_that_was_assumed_is_not_reconciled(revision, north):
    run = taken(revision, north, elapsed_s=1100.0)
    run.segments.update(end_assumed=True, last_contour=3)
    assert taken_runs(now=NOW).left_out[PARTIAL] == 1


def test_a_run_short_of_the_last_contour_needs_a_plan_contour_by_contour(revision, north):
    run = taken(revision, north, elapsed_s=1100.0)
    run.segments.update(last_contour=2)
    assert taken_runs(now=NOW).left_out[PARTIAL] == 1
    run.plan = cast.plan([500.0] * 3)
    run.save()
    assert len(taken_runs(now=NOW).runs) == 1


def test_a_run_with_two_sets_belongs_to_neither(revision, north):
    run = taken(revision, north, elapsed_s=1100.0)
    other = cast.wear_set("fine-50", "fine", 50.0)
    cast.segment(run, cast.at(cast.NOON, 1200), 300, the_set=other, first_contour=3)
    assert taken_runs(now=NOW).left_out[SETS] == 1


def test_runs_of_more_than_a_year_ago_are_of_another_shop(revision, north):
    taken(revision, north, elapsed_s=1100.0)
    assert taken_runs(now=NOW + timedelta(days=366)).runs == []


@pytest.fixture
def proposed(revision, north):
    for day, elapsed_s in enumerate((1180.0, 1200.0, 1220.0, 1200.0, 1200.0, 1210.0)):
        taken(revision, north, elapsed_s=elapsed_s, day=day - 6)
    [factor] = factors_propose(now=NOW)
    return factor


def test_a_factor_is_proposed_with_its_interval_and_its_runs(proposed):
    assert proposed.value == pytest.approx(1.2, abs=0.01)
    assert proposed.low < proposed.value < proposed.high
    assert (proposed.runs, proposed.state, proposed.valid_from) == (6, "proposed", None)
    assert str(proposed.runs_from) == "2026-09-30"


def test_too_few_runs_propose_nothing(revision, north):
    taken(revision, north, elapsed_s=1200.0)
    with pytest.raises(FactorError, match=r"not enough data \(1, needed 5\)"):
        factors_propose(now=NOW)


def test_a_proposal_alone_changes_no_plan(proposed, revision):
    nest_plan(key=str(revision.pk), payload={})
    plan = NestPlan.objects.get()
    assert (plan.expected_s, plan.factor, plan.snapshot.get("factor")) == (None, None, None)


def test_once_accepted_it_stands_beside_the_bare_plan(proposed, revision, owner):
    nest_plan(key=str(revision.pk), payload={})
    bare = NestPlan.objects.get()
    Work.objects.all().delete()
    factor_accept(factor=proposed, by=owner, why="six runs agree", now=NOW)
    assert Work.objects.filter(kind="nest", key=str(revision.pk)).exists()
    nest_plan(key=str(revision.pk), payload={})
    plan = NestPlan.objects.get()
    assert (plan.total_s, plan.load_s) == (bare.total_s, bare.load_s)
    assert plan.expected_s == pytest.approx((bare.total_s + bare.load_s) * proposed.value)
    assert plan.snapshot["factor"]["id"] == proposed.pk
    assert plan.snapshot["factor"]["value"] == proposed.value
    trail = Change.objects.filter(table="shopfloor_factor", why="six runs agree")
    assert [change.who for change in trail] == ["user:ann"]


def test_a_new_one_ends_the_one_before(proposed, owner, revision, north):
    factor_accept(factor=proposed, by=owner, why="six runs agree", now=NOW)
    assert factors_propose(now=NOW) == []  # the same figure is not proposed again
    for day in range(40):
        taken(revision, north, elapsed_s=1500.0, day=-10 - day)
    [newer] = factors_propose(now=NOW)
    later = NOW + timedelta(hours=1)
    factor_accept(factor=newer, by=owner, why="slower torch", now=later)
    old = Factor.objects.get(pk=proposed.pk)
    assert (old.state, old.valid_to) == ("accepted", later)
    assert Factor.objects.get(state="accepted", valid_to=None).pk == newer.pk


def test_one_that_was_declined_is_not_proposed_again(proposed, owner):
    factor_decline(factor=proposed, by=owner, why="the crane was out", now=NOW)
    row = Factor.objects.get()
    assert (row.state, row.decided_by, row.why) == ("declined", owner, "the crane was out")
    assert factors_propose(now=NOW) == []


def test_an_answer_wants_a_reason_and_comes_once(proposed, owner):
    with pytest.raises(FactorError, match="Say why"):
        factor_accept(factor=proposed, by=owner, why=" ", now=NOW)
    factor_decline(factor=proposed, by=owner, why="no", now=NOW)
    with pytest.raises(FactorError, match="answered already"):
        factor_accept(factor=proposed, by=owner, why="yes", now=NOW)


def test_ended_plans_are_bare_again(proposed, revision, owner):
    row = factor_accept(factor=proposed, by=owner, why="six runs agree", now=NOW)
    factor_end(factor=row, by=owner, why="new air dryer", now=NOW)
    nest_plan(key=str(revision.pk), payload={})
    assert NestPlan.objects.get().expected_s is None
    with pytest.raises(FactorError, match="not in force"):
        factor_end(factor=row, by=owner, why="again", now=NOW)
