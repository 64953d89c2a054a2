from __future__ import annotations

import re
from datetime import timedelta

import pytest

from planning.services.factor_summary import factors_write
from planning.services.factors import factors_propose
from planning.services.work import run_all_waiting
from shopfloor.models import Factor
from tests.planning import cast
from tests.planning.test_factors import taken

pytestmark = pytest.mark.django_db
NOW = cast.NOON + timedelta(days=2)


@pytest.fixture
def runs(north, operator, monkeypatch):
    """Six runs of October and six of September, each 20 % over its plan or a little off that."""
    monkeypatch.setattr("dashboards.data.now", lambda: NOW)
    monkeypatch.setattr("planning.services.factor_summary.timezone.now", lambda: NOW)
    _, [line] = cast.job()
    revision = cast.nest(operator, [(line, 1e4, 10)])
    for day, elapsed_s in enumerate((1180.0, 1200.0, 1220.0, 1200.0, 1190.0, 1210.0)):
        taken(revision, north, elapsed_s=elapsed_s, day=day - 5)
        taken(revision, north, elapsed_s=elapsed_s, day=day - 30)
    factors_write(key="learn", payload={})
    return revision


def test_before_the_first_runs_the_page_says_what_comes(shop, as_):
    body = as_("planner").get("/nests/factors/").content.decode()
    assert "is being worked out" in body
    factors_write(key="learn", payload={})
    body = as_("planner").get("/nests/factors/").content.decode()
    assert "not enough data (0, needed 5)" in body
    assert "No measured run is worked out yet" in body


def test_the_plans_error_is_said_before_and_after_with_its_count(runs, as_):
    body = as_("supervisor").get("/nests/factors/").content.decode()
    # off the bare plan by 18, 19, 20, 20, 21, 22 %: the median is 20.0
    assert "Half of 12 runs were more than 20.0 % off their plan" in body
    assert "All, 2 months" in body


def test_only_who_changes_the_chart_proposes_and_answers(runs, as_):
    factors_propose(now=NOW)
    [factor] = Factor.objects.all()
    assert 'name="do"' not in as_("supervisor").get("/nests/factors/").content.decode()
    for address in ("/nests/factors/propose/", f"/nests/factors/{factor.pk}/"):
        answer = as_("supervisor").post(address, {"do": "accept", "why": "x"})
        assert answer.status_code == 403
        assert as_("owner").get(address).status_code == 405
    assert Factor.objects.get().state == "proposed"


def test_a_proposal_is_taken_with_its_reason_and_ended_with_one(runs, as_, owner):
    client = as_("owner")
    said = client.post("/nests/factors/propose/", follow=True).content.decode()
    assert "being worked out" in said
    assert not Factor.objects.exists()  # nothing is fitted in a request
    run_all_waiting()
    [factor] = Factor.objects.all()
    address = f"/nests/factors/{factor.pk}/"
    said = client.post(address, {"do": "accept", "why": ""}, follow=True).content.decode()
    assert "Say why." in said
    said = client.post(address, {"do": "accept", "why": "twelve agree"}, follow=True)
    assert "It is in use from now on" in said.content.decode()
    assert "Ann Tiller" in said.content.decode()
    factor.refresh_from_db()
    assert (factor.state, factor.decided_by, factor.why) == ("accepted", owner, "twelve agree")
    said = client.post(address, {"do": "end", "why": "new dryer"}, follow=True).content.decode()
    assert "plans are bare again" in said
    said = client.post(address, {"do": "end", "why": "again"}, follow=True).content.decode()
    assert "It is not in force." in said


def test_the_page_fits_nothing_and_reads_no_run(runs, as_, monkeypatch):
    """The back-test of a year of ten tables took over 200 s in the request."""
    from django.db import connection
    from django.test.utils import CaptureQueriesContext

    client = as_("planner")
    with CaptureQueriesContext(connection) as asked:
        assert client.get("/nests/factors/").status_code == 200
    read = " ".join(query["sql"] for query in asked.captured_queries)
    assert "shopfloor_summary" in read
    for table in ("shopfloor_run", "shopfloor_runvariance", "shopfloor_contour"):
        assert f'"{table}"' not in read


def test_what_runs_teach_is_asked_for_twice_a_day(runs):
    from planning.services.factor_summary import factors_freshen
    from shopfloor.models import Work

    assert not factors_freshen(now=NOW + timedelta(hours=11))
    assert factors_freshen(now=NOW + timedelta(hours=13))
    assert Work.objects.filter(kind="factors", key="learn", state="waiting").count() == 1


def test_a_factor_opens_to_the_runs_that_teach_it(runs, as_, time_machine):
    """Twelve runs, 1,000 s planned; the mean of the logarithms of 1.18, 1.2, 1.22, 1.2, 1.19 and
    1.21, twice each, is that of 1.19995."""
    time_machine.move_to(NOW)
    page = as_("planner")
    body = page.get("/nests/factors/").content.decode()
    address = re.search(r'href="(/figures/factor/[^"]+)"', body)[1]
    opened = page.get(address).content.decode()
    assert opened.count("/figures/run/") == 12
    assert "Own mean of 12" in opened
    assert "1.200" in opened
    assert page.get("/figures/factor/1:1:99.0/").status_code == 404
