"""Opened figures by right: amounts are for who sees cost, all other rows for everybody."""

from __future__ import annotations

import pytest

from planning import reports
from planning.services.run_figures import run_figures
from shopfloor.models import Job, Nest, NestPlan, NestRevision, RunVariance, WearSet
from shopfloor.wording.quantity import Right, say
from tests.planning import cast
from tests.planning.said import ALL

pytestmark = pytest.mark.django_db


def test_a_name_with_a_word_of_money_in_it_hides_nothing(a_run, as_):
    Nest.objects.update(name="grate-4")
    run_figures(key=str(a_run.pk), payload={})
    duty = a_run.segments.get().wear_set.duty
    for who in ("supervisor", "owner"):
        body = as_(who).get(f"/figures/day/2026-10-06:{duty}/").content.decode()
        assert "grate-4" in body, who


@pytest.mark.parametrize(
    "key",
    ["day/0001-01-01:fine", "day/9999-12-31:fine:North", "outlook/north@253402300799000000",
     "shift/north@253402300799000000", "pace/north@0", "promise/1@253402300799000000",
     "load/north:9999-12-31@253402300799000000", "measure/0001-01-01:0001-01-02:1:adet",
     "squareness/0001-01-01:1"],
)  # fmt: skip
def test_the_ends_of_the_calendar_open_to_nothing(a_run, as_, key):
    assert as_("owner").get(f"/figures/{key}/").status_code in (200, 404)


@pytest.fixture
def a_plan(a_run):
    return NestPlan.objects.create(
        revision=NestRevision.objects.get(),
        table=a_run.table,
        wear_set=WearSet.objects.get(),
        total_s=1500,
        load_s=300,
        costs_minor={"machine": 4870, "labour": 2031},
        snapshot={},
        computed_at=cast.NOON,
    )


def test_amounts_of_a_plan_are_for_those_who_see_cost(a_plan, as_):
    found = reports.open_figure(kind="plan", id=str(a_plan.pk))
    money = [part for part in found.parts if part.quantity.right is Right.COST]
    amounts = {part.label: say(part.quantity, ALL) for part in money}
    assert amounts == {
        "Cost: machine": "48.70 USD",
        "Cost: labour": "20.31 USD",
        "Cost without material": "69.01 USD",
    }
    bodies = {
        who: as_(who).get(f"/figures/plan/{a_plan.pk}/").content.decode()
        for who in ("supervisor", "owner")
    }
    for amount in ("48.70", "20.31", "69.01"):
        assert amount in bodies["owner"]
        assert amount not in bodies["supervisor"]
    assert "Load and unload" in bodies["supervisor"]


def test_what_a_piece_was_charged_is_for_those_who_see_cost(north, operator, as_):
    piece = cast.piece("electrode", label="E-7")
    cast.fitting(piece, north, cast.NOON, by=operator)
    found = reports.open_figure(kind="piece", id=str(piece.pk))
    money = [part.label for part in found.parts if part.quantity.right is Right.COST]
    assert money == ["Charged so far"]
    assert "Charged" in as_("owner").get(f"/figures/piece/{piece.pk}/").content.decode()
    assert "Charged" not in as_("supervisor").get(f"/figures/piece/{piece.pk}/").content.decode()


@pytest.mark.parametrize("written", ["+{}", "0{}", "{} "])
def test_a_job_written_oddly_opens_or_is_not_there(a_run, as_, written):
    run_figures(key=str(a_run.pk), payload={})
    job = Job.objects.get()
    owner = as_("owner")
    assert owner.get(f"/figures/job/{written.format(job.pk)}/").status_code in (200, 404)
    assert owner.get(f"/figures/job_plan/{written.format(job.pk)}/").status_code in (200, 404)
    run = str(a_run.pk).upper()
    term = next(iter(RunVariance.objects.get(run=a_run).terms))
    body = owner.get(f"/figures/run_term/{run}:{term}/")
    assert body.status_code == 200
    assert f"/runs/{a_run.pk}/" in body.content.decode()
