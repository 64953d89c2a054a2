from __future__ import annotations

import re

import pytest

from planning.services.run_figures import run_figures
from shopfloor.models import NestPlan
from telemetry.models import Arc
from tests.markup import worded
from tests.planning import cast

pytestmark = pytest.mark.django_db


@pytest.fixture
def worked_out(a_run):
    cast.rate("machine", 9600)
    run_figures(key=str(a_run.pk), payload={})
    return a_run


def test_a_run_opens_down_to_its_arcs(worked_out, as_):
    body = as_("supervisor").get(f"/runs/{worked_out.pk}/").content.decode()
    assert "N-1" in re.search(r"<h1.*?</h1>", body, re.DOTALL)[0]
    rows = [row for row in re.findall(r"<tr.*?</tr>", body, re.DOTALL) if "/figures/arc/" in row]
    lengths = [re.findall(r"<td[^>]*>(.*?)</td>", worded(row))[2] for row in rows]
    assert [length[:6] for length in lengths] == ["10 min"] * 3
    assert "Milo Brandt" in body


def test_what_it_cost_is_shown_only_to_those_who_see_cost(worked_out, as_):
    assert "Who pays" in as_("owner").get(f"/runs/{worked_out.pk}/").content.decode()
    assert "Who pays" not in as_("supervisor").get(f"/runs/{worked_out.pk}/").content.decode()


def test_who_may_not_see_persons_times_sees_no_operator(worked_out, as_):
    body = as_("planner").get(f"/runs/{worked_out.pk}/").content.decode()
    assert "Milo Brandt" not in body
    assert "Segments" in body


def test_its_strip_is_drawn_from_its_own_arcs(worked_out, as_):
    body = as_("supervisor").get(f"/runs/{worked_out.pk}/").content.decode()
    assert "North, N-1: " in body
    assert "3 arcs, 30 min of arc" in body


def test_its_history_names_who_changed_it(worked_out, as_):
    from shopfloor.audit.actor import acting

    with acting("user:dana", why="counted again"):
        worked_out.note = "two tipped up"
        worked_out.save(update_fields=["note"])
    body = as_("supervisor").get(f"/runs/{worked_out.pk}/").content.decode()
    assert "user:dana, counted again" in body
    assert "note none → two tipped up" in body


def test_a_run_that_is_not_worked_out_says_so(a_run, as_):
    body = as_("supervisor").get(f"/runs/{a_run.pk}/").content.decode()
    assert "Not worked out yet" in body
    assert "<th>Term</th>" not in body  # the table of where the time went


def test_a_run_that_goes_on_is_not_held_against_its_plan_yet(north, operator, as_, planner):
    """Three contours of 600 s are planned and one is burnt: the plan shown is of all
    three and 1 s of travel to each."""
    revision = cast.nest(planner, [(None, 1e4, 600)] * 3, name="N-open")
    plan = cast.plan([600] * 3)
    run = cast.run(revision, north, seconds=None, state="open", operator=operator, plan=plan)
    cast.arcs(run, [(10, 610, 1)])
    run_figures(key=str(run.pk), payload={})
    body = as_("supervisor").get(f"/runs/{run.pk}/").content.decode()
    assert "so far; the plan says 30.1 min when" in worded(body)
    assert body.count("not yet</td>") == 2
    assert "compared with the plan once it is finished" in body


def test_a_stop_without_a_reason_asks_for_it(worked_out, as_):
    stop = cast.stoppage(worked_out, worked_out.opened_at, 300)
    body = as_("supervisor").get(f"/runs/{worked_out.pk}/").content.decode()
    assert f'href="/today/reason/{stop.pk}/">Give a reason</a>' in body


def test_a_contour_whose_end_was_not_heard_is_not_called_cut(worked_out, as_):
    Arc.objects.filter(key=Arc.objects.order_by("on_us").first().key).update(ended="lost")
    body = as_("supervisor").get(f"/runs/{worked_out.pk}/").content.decode()
    assert body.count("end not seen") == 1


def test_prices_of_a_plan_and_a_piece_are_hidden_from_who_may_not_see_cost(
    a_run, operator, north, as_
):
    piece = cast.piece("electrode", 1000, 100)
    cast.fitting(piece, north, a_run.opened_at, by=operator)
    run_figures(key=str(a_run.pk), payload={})
    plan = NestPlan.objects.create(
        revision=a_run.revision, table=north, wear_set=cast.wear_set(), total_s=1500, load_s=0,
        costs_minor={"machine": 4321}, computed_at=a_run.opened_at,
    )  # fmt: skip
    for kind, key, said in (
        ("plan", plan.pk, "43.21 USD"),
        ("piece", piece.pk, "charged 0.30 USD"),
    ):
        address = f"/figures/{kind}/{key}/"
        assert said in as_("owner").get(address).content.decode()
        page = as_("supervisor").get(address).content.decode()
        assert "USD" not in re.sub(r"<[^>]+>", " ", page)  # a form's token may hold any letters


@pytest.mark.parametrize("kind", ["run", "arc", "posting", "job"])
def test_each_figure_opens_and_leads_on(worked_out, as_, kind):
    from shopfloor.models import ArcAssignment, JobLine, Posting

    keys = {
        "run": str(worked_out.pk),
        "arc": ArcAssignment.objects.first().arc_key,
        "posting": str(Posting.objects.filter(kind="machine").first().pk),
        "job": str(JobLine.objects.get().job_id),
    }
    from urllib.parse import quote

    answer = as_("owner").get(f"/figures/{kind}/{quote(keys[kind])}/")
    assert answer.status_code == 200
    assert "Made from" in answer.content.decode()


def test_a_figure_leads_from_the_job_down_to_an_arc(worked_out, as_):
    """Follows the links themselves, as a reader would."""
    import re

    from shopfloor.models import JobLine

    client = as_("owner")
    seen, waiting = set(), [f"/figures/job/{JobLine.objects.get().job_id}/"]
    while waiting and not any("/figures/arc/" in url for url in seen):
        url = waiting.pop(0)
        if url in seen or len(seen) > 60:
            continue
        seen.add(url)
        answer = client.get(url)
        assert answer.status_code == 200, url
        waiting += re.findall(r'class="opens" href="([^"]+)"', answer.content.decode())
    assert any("/figures/arc/" in url for url in seen)


def test_a_jobs_cost_shows_its_postings(worked_out, as_):
    from shopfloor.models import JobLine

    body = as_("owner").get(f"/cost/jobs/{JobLine.objects.get().job_id}/").content.decode()
    # an hour at $96: 96.00
    assert "96.00" in body
    assert f"/runs/{worked_out.pk}/" in body


def test_the_wear_page_tells_what_is_fitted(north, operator, as_, at_noon):
    piece = cast.piece("electrode", label="E-7")
    cast.fitting(piece, north, cast.NOON, by=operator)
    body = as_("supervisor").get("/wear/").content.decode()
    assert "E-7" in re.sub(r"<[^>]+>", " ", body)
    assert "ANSI Z49.1" in body
    assert "19.00" not in body
    assert "19.00" in as_("owner").get("/wear/").content.decode()


def test_a_shop_with_empty_torches_says_what_comes_first(shop, as_):
    body = as_("supervisor").get("/wear/").content.decode()
    assert "No torch has a piece in it yet." in body
