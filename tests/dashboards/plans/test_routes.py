from __future__ import annotations

import pytest
from django.contrib.auth.models import Permission

from planning.reports.nest import nest_by_sets
from planning.services.nest_plan import nest_plan
from shopfloor.models import NestPlan
from tests.planning import cast
from tests.planning.test_nest_plan import SQUARE, _row

pytestmark = pytest.mark.django_db


@pytest.fixture
def nest(north, operator, at_noon):
    fast, fine = cast.wear_set(), cast.wear_set("fine-50", "fine", 50.0)
    _row(fast, 6.0, 3000.0, bench_min_per_m=50.0, u_mm=0.3)
    _row(fine, 6.0, 1500.0, bench_min_per_m=25.0, u_mm=0.15)
    for the_set in (fast, fine):
        cast.part("electrode", 1900, 1000, the_set=the_set)
    for kind, minor in (("machine", 6000), ("labour", 3000), ("gas", 3600), ("bench", 4800)):
        cast.rate(kind, minor)
    cast.rate("energy", 15)
    _, [line] = cast.job()
    revision = cast.nest(operator, [(line, 1e4, 10)], program=SQUARE)
    nest_plan(key=str(revision.pk), payload={})
    return revision.nest


def page(client, nest, query=""):
    answer = client.get(f"/nests/{nest.pk}/routes/{query}")
    assert answer.status_code == 200
    return answer.content.decode()


def test_routes_stand_side_by_side_with_what_the_edge_rests_on(nest, as_):
    body = page(as_("owner"), nest)
    assert "fast 130 A" in body
    assert "fine 50 A" in body
    assert "the chart&#x27;s; not enough checks (0, needed 5)" in body
    assert "fine 50 A is the cheapest that may do" in body
    assert "fast 130 A costs less than fine 50 A once an hour at the bench costs below" in body


def test_money_is_shown_to_those_who_see_cost_alone(nest, as_):
    body = page(as_("supervisor"), nest)
    assert "fast 130 A" in body
    assert "an hour at the bench" not in body
    assert ">Wear</th>" not in body
    assert ">Cost</th>" not in body


def test_what_an_hour_costs_now_is_shown_to_those_who_see_wages(nest, as_, nobody):
    nobody.user_permissions.add(Permission.objects.get(codename="see_cost"))
    body = page(as_("nobody"), nest)
    assert "an hour at the bench costs below" in body
    assert "(now 48.00)" not in body
    assert "(now 48.00)" in page(as_("owner"), nest)


def test_another_speed_is_shown_beside_and_a_wrong_one_refused(nest, as_):
    body = page(as_("planner"), nest, "?speed=80")
    assert "fast 130 A at 80%" in body
    assert "must be 50% to 120%" in page(as_("planner"), nest, "?speed=10")
    assert 'class="banner"' in page(as_("planner"), nest, "?speed=quick")


def test_a_route_is_taken_by_who_plans(nest, as_, nobody):
    assert "Take fine 50 A on North" in page(as_("planner"), nest)
    nobody.user_permissions.add(Permission.objects.get(codename="see_cost"))
    assert "Take fine" not in page(as_("nobody"), nest)


def test_a_nest_or_table_that_is_not_there(nest, as_):
    assert as_("owner").get("/nests/0/routes/").status_code == 404
    assert as_("owner").get(f"/nests/{nest.pk}/routes/?table=0").status_code == 404


def test_the_nests_page_leads_to_its_routes(nest, as_):
    body = as_("planner").get(f"/nests/{nest.pk}/").content.decode()
    assert f"/nests/{nest.pk}/routes/" in body


def test_why_a_set_is_refused_is_said_in_the_readers_unit(nest, as_, owner):
    """The rows of a third set go from 10 to 12.7 mm: 0.394 to 0.5 in; the nest is 6 mm, 0.236."""
    thick = cast.wear_set("fast-200", "fast", 200.0)
    for mm in (10.0, 12.7):
        _row(thick, mm, 2000.0)
    nest_plan(key=str(nest.revisions.get().pk), payload={})
    refused = NestPlan.objects.exclude(problem="").get()
    NestPlan.objects.exclude(pk=refused.pk).update(problem="")
    nest.wear_set = thick
    nest.save()
    pages = (f"/nests/{nest.pk}/routes/", f"/figures/plan/{refused.pk}/", f"/nests/{nest.pk}/")
    client = as_("owner")
    for url in pages:
        assert "go from 10 to 12.7 mm" in client.get(url).content.decode(), url
    owner.units = "inch"
    owner.save()
    for url in pages:
        body = client.get(url).content.decode()
        assert "go from 0.394 to 0.5 in" in body, url
        assert "12.7 mm" not in body, url
    assert any(
        "go from 0.394 to 0.5 in" in why for why in nest_by_sets(nest_id=nest.pk)["problem_in"]
    )
