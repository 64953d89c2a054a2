"""A job that took 6.0 h against 4.5 planned, and where the 1.5 h went: a worked example of common
practice, no source. All figures by hand below, from the way the arcs are laid out."""

from __future__ import annotations

import pytest

from planning.reports import job_cost, run_detail
from planning.services.run_figures import run_figures
from shopfloor.models import ArcAssignment, Reason, RunVariance
from tests.planning import cast

pytestmark = pytest.mark.django_db
CONTOURS, ARC_S, TRAVEL_S, LOAD_S = 10, 750, 30, 300


def laid(start_s: float, arc_s: float, pauses: dict[int, float]) -> list[tuple[float, float, int]]:
    """Arcs one after another, each after its travel and what else held it up."""
    spans, at = [], start_s
    for number in range(1, CONTOURS + 1):
        at += (TRAVEL_S if number > 1 else 0) + pauses.get(number, 0)
        spans.append((at, at + arc_s, number))
        at += arc_s
    return spans


@pytest.fixture
def six_hours(north, operator):
    """One job, two sheets of one nest. Planned a sheet: 300 s load, 10 arcs of 750 s, 10 travels of
    30 s: 8,100 s; two of them 16,200 s, 4.5 h.

    First sheet, 12,900 s: the operator slowed to 90.9 %, 10 x 825 = 8,250 s of arc; 300 s until the
    first of them; 9 x 30 = 270 s travel; crane 1,800 s before contour 3; contour 4 burnt again for
    600 s; 1,680 s of waiting before contour 8.
    Second sheet, 8,700 s: 7,500 s of arc, 300 s before it, 270 s travel, 630 s of waiting before
    contour 2. Together 21,600 s, 6.0 h.
    """
    cast.rate("machine", 9600)
    job, [line] = cast.job()
    revision = cast.nest(operator, [(line, 1e4, ARC_S)] * CONTOURS)
    planned = cast.plan([ARC_S] * CONTOURS, travel_s=TRAVEL_S, load_s=LOAD_S)
    first = cast.run(revision, north, seconds=12_900, plan=planned)
    spans = laid(LOAD_S, 825, {3: 1800, 8: 1680})
    again = spans[3][1]
    spans = spans[:4] + [(on + 600, off + 600, n) for on, off, n in spans[4:]]
    cast.arcs(first, spans)
    [repeat] = cast.arcs(first, [(again, again + 600, 4)])
    ArcAssignment.objects.filter(arc_key=repeat.key).update(repeat=True)
    crane = Reason.objects.create(code="crane-busy", label="crane busy")
    cast.stoppage(first, cast.at(cast.NOON, spans[1][1]), 1800, reason=crane)
    later = cast.at(cast.NOON, 20_000)
    second = cast.run(revision, north, start=later, seconds=8_700, plan=planned)
    cast.arcs(second, laid(LOAD_S, ARC_S, {2: 630}), start=later)
    for run in (first, second):
        run_figures(key=str(run.pk), payload={})
    return job, first, second


def test_the_runs_sum_to_the_hours(six_hours):
    _, first, second = six_hours
    rows = [RunVariance.objects.get(run=run) for run in (first, second)]
    assert sum(row.planned_s for row in rows) == pytest.approx(4.5 * 3600)
    assert sum(row.elapsed_s for row in rows) == pytest.approx(6.0 * 3600)


def test_where_the_hour_and_a_half_went(six_hours):
    job, *_ = six_hours
    terms = job_cost(job_id=job.pk).terms.set_index("term")["seconds"].to_dict()
    terms = {name: seconds for name, seconds in terms.items() if abs(seconds) > 1e-6}
    assert terms == pytest.approx(
        {
            "cutting with piercing": 8_250 - 7_500,  # the override
            "repeats": 600,
            "stoppages": 1_800,
            "waits": 1_680 + 630,
            # The first travel of each sheet lies in its first 300 s: 30 s less were loading.
            "loading with waiting": -60,
        }
    )
    assert sum(terms.values()) == pytest.approx(1.5 * 3600)


def test_each_run_opens_to_its_own_terms(six_hours):
    _, first, second = six_hours
    over = {run.pk: run_detail(run_id=str(run.pk)).terms["over_s"].sum() for run in (first, second)}
    assert over == pytest.approx({first.pk: 12_900 - 8_100, second.pk: 8_700 - 8_100})


def test_the_difference_has_its_price(six_hours):
    """At $96 an hour of the table, 1.5 h is $144.00."""
    job, *_ = six_hours
    assert job_cost(job_id=job.pk).terms["money_minor"].sum() == 14_400
