"""Two jobs on one sheet (a worked example of common practice, no source)."""

from __future__ import annotations

import pytest
from django.db.models import Sum

from planning.reports.run_shares import run_shares
from planning.services.run_figures import run_figures
from shopfloor.models import Posting
from tests.planning import cast

pytestmark = pytest.mark.django_db


@pytest.fixture
def shared(north, operator):
    """$600 sheet, $120 credited for its remnant; net areas 2:1, arc times 60:40; 80 min at $96/h.

    material 600 - 120 = 480, 2:1 = 320 and 160; machine 80/60 x 96 = 128, 60:40 = 76.80 and 51.20
    """
    cast.rate("machine", 9600)
    _, [first] = cast.job("J-1")
    _, [second] = cast.job("J-2", parts=("ring",))
    revision = cast.nest(operator, [(first, 2e6, 1800), (second, 1e6, 1200)])
    plate = cast.sheet(60_000)
    cast.sheet(12_000, parent=plate)
    run = cast.run(revision, north, seconds=4800, sheet=plate, plan=cast.plan([1800, 1200]))
    cast.arcs(run, [(600, 2400, 1), (2700, 3900, 2)])
    return run, first, second


def _amounts(run):
    rows = Posting.objects.filter(run=run).values_list("line", "kind").annotate(Sum("amount_minor"))
    return {(line, kind): minor for line, kind, minor in rows.order_by()}


def test_material_goes_by_area_and_the_machine_by_arc_time(shared):
    run, first, second = shared
    run_figures(key=str(run.pk), payload={})
    amounts = _amounts(run)
    assert amounts[first.pk, "material"] + amounts[first.pk, "credit"] == 32_000
    assert amounts[second.pk, "material"] + amounts[second.pk, "credit"] == 16_000
    assert amounts[first.pk, "machine"] == 7_680
    assert amounts[second.pk, "machine"] == 5_120
    assert sum(amounts.values()) == 60_000 - 12_000 + 12_800


def test_hours_go_to_the_jobs_before_any_rate_is_set(shared):
    """A new shop has no rates: 3 m are cut for the first job and 1 m for the second, so the hours
    are theirs 3:1. As soon as time is posted it is as it was posted, 60:40."""
    run, first, second = shared
    run.revision.contours.filter(line=first).update(cut_mm=3000)
    run.revision.contours.filter(line=second).update(cut_mm=1000)
    assert run_shares([run.pk]) == {run.pk: {first.job_id: 0.75, second.job_id: 0.25}}
    run.revision.contours.filter(line=second).update(common_share=2.0)
    assert run_shares([run.pk]) == {run.pk: {first.job_id: 0.6, second.job_id: 0.4}}
    run.revision.contours.filter(line=second).update(line=None)
    assert run_shares([run.pk]) == {run.pk: {first.job_id: 0.6, None: 0.4}}
    run.revision.contours.all().delete()
    assert run_shares([run.pk]) == {run.pk: {None: 1.0}}


def test_hours_are_shared_as_they_were_posted(shared):
    run, first, second = shared
    run.revision.contours.filter(line=first).update(cut_mm=9000)
    run_figures(key=str(run.pk), payload={})
    assert run_shares([run.pk])[run.pk] == pytest.approx({first.job_id: 0.6, second.job_id: 0.4})


def test_doing_it_again_posts_nothing(shared):
    run, *_ = shared
    run_figures(key=str(run.pk), payload={})
    before = list(Posting.objects.order_by("pk").values_list("key", "amount_minor"))
    run_figures(key=str(run.pk), payload={})
    assert list(Posting.objects.order_by("pk").values_list("key", "amount_minor")) == before


def test_a_changed_fact_posts_the_difference_only(shared):
    run, first, second = shared
    run_figures(key=str(run.pk), payload={})
    run.sheet.cost_minor = 60_300
    run.sheet.save()
    rows = Posting.objects.count()
    run_figures(key=str(run.pk), payload={})
    fresh = Posting.objects.order_by("pk")[rows:]
    assert {(row.line_id, row.amount_minor) for row in fresh} == {(first.pk, 200), (second.pk, 100)}
    assert {(row.key[-3:], row.why) for row in fresh} == {(":v2", "worked out again")}


def test_a_voided_run_takes_its_postings_back(shared):
    run, *_ = shared
    run_figures(key=str(run.pk), payload={})
    run.state = "voided"
    run.save()
    run_figures(key=str(run.pk), payload={})
    assert Posting.objects.aggregate(Sum("amount_minor"))["amount_minor__sum"] == 0
    assert Posting.objects.exclude(reverses=None).count() == 6


def test_the_customers_own_plate_costs_nothing_and_earns_no_credit(shared):
    run, first, _ = shared
    run.sheet.owner = first.job.customer
    run.sheet.save()
    run_figures(key=str(run.pk), payload={})
    assert not Posting.objects.filter(kind__in=("material", "credit")).exists()


def test_the_rate_of_the_day_holds_and_the_tables_own_goes_first(shared, north):
    from datetime import date

    run, *_ = shared
    cast.rate("machine", 6000, table=north, valid_from=date(2026, 10, 1))
    cast.rate("machine", 1, table=north, valid_from=date(2026, 10, 7))
    run_figures(key=str(run.pk), payload={})
    machine = Posting.objects.filter(kind="machine").aggregate(all=Sum("amount_minor"))["all"]
    assert machine == 8_000  # 80 min at $60, the table's own from 1 October; the run is of the 6th


def test_a_common_edge_is_halved_between_its_two_jobs(north, operator):
    """400 mm cut for the first, 50 of them the neighbour's half of the common edge; 260 mm for the
    second, which owes those 50. Arcs of 1 s a mm at $96 an hour over 660 s, $17.60:
    350 and 310 of 660, 9.3333 and 8.2667, so $9.33 and $8.27."""
    cast.rate("machine", 9600)
    _, [first] = cast.job("J-1")
    _, [second] = cast.job("J-2", parts=("ring",))
    revision = cast.nest(operator, [(first, 1e4, 400), (second, 8e3, 260)])
    for number, share in ((1, 350 / 400), (2, 310 / 260)):
        revision.contours.filter(number=number).update(common_share=share)
    run = cast.run(revision, north, seconds=660, plan=cast.plan([400, 260]))
    cast.arcs(run, [(0, 400, 1), (400, 660, 2)])
    run_figures(key=str(run.pk), payload={})
    amounts = _amounts(run)
    assert (amounts[first.pk, "machine"], amounts[second.pk, "machine"]) == (933, 827)
