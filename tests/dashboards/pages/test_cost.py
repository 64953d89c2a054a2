from __future__ import annotations

import pytest
from django.test import RequestFactory

from dashboards.pages import cost, parts
from dashboards.shell import framed
from tests.dashboards import made

pytestmark = pytest.mark.django_db


@pytest.fixture
def month(shop, monkeypatch):
    monkeypatch.setattr("dashboards.data.months", made.months)
    monkeypatch.setattr("dashboards.data.cost_month", lambda day: made.month(first_day=day))
    monkeypatch.setattr("dashboards.data.squareness", lambda day: made.square())


def seen_by(user, search=""):
    request = RequestFactory().get("/cost/")
    request.user = user
    with framed(request):
        return cost.page(search)


def test_the_newest_month_is_drawn_with_its_sentence(month, owner):
    said = made.texts(seen_by(owner))
    # 162,500 - 150,000 = 12,500 minor, 8.3 % of 1,500
    assert "The month cost 125 more than planned , 8.3 % of 1,500." in said
    assert "Stoppages" in said
    assert "Of 1,625 charged: 75 % measured, 25 % entered." in said
    assert [graph.id for graph in made.find(seen_by(owner), "Graph")] == ["steps"]


def test_quotes_are_columns_only_of_those_who_see_margin(month, owner, supervisor):
    def heads(user):
        return [made.texts(head) for head in made.find(seen_by(user), "Th")]

    assert "Quote" in heads(owner)
    assert "Quote" not in heads(supervisor)


def test_a_job_that_lost_is_named_only_to_those_who_see_margin(month, owner, supervisor):
    assert "A lost 50" in made.texts(seen_by(owner))  # quoted 1,050, cost 1,100
    assert "A lost" not in made.texts(seen_by(supervisor))


def test_only_those_who_may_are_offered_to_close_it(month, owner, supervisor):
    def links(user):
        return [link.href for link in made.find(seen_by(user), "A")]

    assert "/cost/close/2026-10/" in links(owner)
    assert "/cost/close/2026-10/" not in links(supervisor)


def test_every_amount_opens(month, owner):
    links = {link.href for link in made.find(seen_by(owner, "?all=yes"), "A")}
    assert {
        "/cost/jobs/1/",
        "/figures/month_job/2026-10-01:1/",
        "/figures/month_kind/2026-10-01:wear/",
    } <= links
    assert "/cost/?month=2026-10&term=stoppages#term" in links


def test_a_term_is_shown_job_by_job(month, owner):
    said = made.texts(seen_by(owner, "?month=2026-10&term=stoppages"))
    assert "A 1.00 +70.00" in said


def test_the_figure_has_its_table(month, owner):
    [table] = [
        one for one in made.find(seen_by(owner), "Details") if "As a table" in made.texts(one)
    ]
    assert "Planned 1,500.00" in made.texts(table)
    assert "Actual 1,625.00" in made.texts(table)


def test_a_closed_month_says_who_closed_it(month, owner, monkeypatch):
    from datetime import UTC, datetime

    closed = made.month(closed_at=datetime(2026, 11, 2, 20, tzinfo=UTC), closed_by="Ann Tiller")
    monkeypatch.setattr("dashboards.data.cost_month", lambda day: closed)
    said = made.texts(seen_by(owner))
    assert "Closed 2 Nov 2026 by Ann Tiller" in said
    assert "Close the month" not in said


def test_a_shop_without_a_posting_says_what_comes_first(shop, owner, monkeypatch):
    monkeypatch.setattr("dashboards.data.months", lambda: made.months().iloc[:0])
    assert "No month has a posting yet." in made.texts(seen_by(owner))


@pytest.mark.parametrize("search", ["?month=1999-01", "?month=nonsense", "?month=", None])
def test_a_month_there_is_not_is_no_error(month, owner, search):
    said = made.texts(seen_by(owner, search))
    assert ("Nothing was posted in January 1999." in said) == (search == "?month=1999-01")


def test_what_fails_says_what_is_safe():
    [state] = made.find(parts.failed(RuntimeError("no")), "P")[:1]
    assert made.texts(state) == "This page could not be drawn."


def test_before_anything_is_asked_a_sentence_stands_there():
    loading = parts.frame_of("Reading the month")()
    assert made.texts(loading).strip() == "Reading the month"


def test_a_callback_that_fails_answers_with_the_message(shop, as_, monkeypatch):
    from tests.dashboards.test_rights import CALLBACK

    def broken():
        raise RuntimeError("no")

    monkeypatch.setattr("dashboards.data.months", broken)
    answer = as_("owner").post(
        "/cost/_dash-update-component", CALLBACK, content_type="application/json"
    )
    assert answer.status_code == 200
    assert "This page could not be drawn." in answer.content.decode()


def test_a_month_is_closed_by_the_press_of_a_button(shop, as_, owner):
    from datetime import date

    from shopfloor.models import Month, Posting

    month = Month.objects.create(first_day=date(2026, 9, 1))
    Posting.objects.create(
        key="k", month=month, shift_date=date(2026, 9, 2), kind="gas", amount_minor=5,
        evidence="measured",
    )  # fmt: skip
    client = as_("owner")
    assert "Close September 2026" in client.get("/cost/close/2026-09/").content.decode()
    assert client.post("/cost/close/2026-09/").headers["Location"] == "/cost/?month=2026-09"
    month.refresh_from_db()
    assert month.closed_by == owner
    again = client.post("/cost/close/2026-09/", follow=True).content.decode()
    assert "September 2026 is closed already." in again


@pytest.mark.parametrize("month", ["2026-13", "nonsense", "2019-01"])
def test_a_month_there_is_not_cannot_be_closed(shop, as_, month):
    assert as_("owner").get(f"/cost/close/{month}/").status_code == 404


def test_figures_that_are_not_in_yet_are_said_to_be_missing(month, owner, monkeypatch):
    monkeypatch.setattr("dashboards.data.backlog", lambda: (3, 1))
    said = made.texts(seen_by(owner))
    assert "3 figures not in yet" in said
    assert "1 figure could not be worked out" in said
    monkeypatch.setattr("dashboards.data.backlog", lambda: (0, 0))
    assert "not in yet" not in made.texts(seen_by(owner))


def test_fine_cutting_nobody_asked_for_is_named_with_what_it_cost(month, owner, monkeypatch):
    said = made.texts(seen_by(owner))
    # A: 40 + 60 m, 10.00 + 20.00; B: 10 m, 5.00
    assert "A title A none 100 0.5 30" in said
    assert "B title B range 3 10 0.1 5" in said
    assert "Not asked for 110 0.6 35" in said
    assert "Fine cutting nobody asked for: 35" in said
    assert "of 150 m cut fine: 110 m nobody asked for it; 40 m asked for" in said
    links = [link.href for link in made.find(seen_by(owner), "A")]
    assert "/figures/squareness/2026-10-01:1/" in links
    monkeypatch.setattr("dashboards.data.squareness", lambda day: made.square(nothing=True))
    said = made.texts(seen_by(owner))
    assert "No metre was cut fine that fast would have cut as well for less." in said
    assert "nobody asked for:" not in said


def test_a_tenth_of_a_millimetre_has_its_price_in_the_persons_units(month, owner):
    assert "A36 6 mm fine 50 A, fast 120 A 0.15, 0.30 0.37 0.25" in made.texts(seen_by(owner))
    owner.units = "inch"
    # a foot is 0.3048 m: 0.37 x 0.3048 = 0.11; 0.15 mm is 0.0059 in; 0.005 in is 1.27 tenths of a
    # mm: 0.25 x 0.3048 x 1.27 = 0.10
    assert "A36 0.236 in fine 50 A, fast 120 A 0.0059, 0.0118 0.11 0.10" in made.texts(
        seen_by(owner)
    )
