from __future__ import annotations

from datetime import date

import pytest
from django.test import RequestFactory

from dashboards.pages import balance
from dashboards.shell import framed
from tests.dashboards import made

pytestmark = pytest.mark.django_db
ROWS = [
    (date(2026, 10, 5), "North", "fine", 60.0, 90.0, 2),
    (date(2026, 10, 5), "South", "fast", 30.0, 30.0, 1),
    (date(2026, 10, 6), "South", "fast", 500.0, 10.0, 1),
]


@pytest.fixture
def days(shop, at_noon, monkeypatch):
    asked = []

    def given(first, last):
        asked.append((first, last))
        return made.days(ROWS)

    monkeypatch.setattr("dashboards.data.balance_days", given)
    return asked


def seen_by(user, draw, *args):
    request = RequestFactory().get("/balance/")
    request.user = user
    with framed(request):
        return draw(*args)


def test_days_that_are_over_are_held_against_their_plan(days, supervisor):
    said = made.texts(seen_by(supervisor, balance.page, ""))
    # 5 October: burnt 90 + 30 = 120 of 60 + 30 = 90 planned; 90 of 120 fine; today stays out of it
    assert "Before today the tables burnt 30 min more than planned" in said
    assert "75 % of 2 h 00 min on the torch was cut fine." in said


def test_two_weeks_and_what_waits_are_asked_for(days, supervisor):
    seen_by(supervisor, balance.page, "")
    seen_by(supervisor, balance.page, "?days=7")
    seen_by(supervisor, balance.page, "?days=9999")
    last = date(2026, 10, 9)
    assert days == [(date(2026, 9, 23), last), (date(2026, 9, 30), last), (date(2026, 9, 23), last)]


def test_the_chart_has_its_table(days, supervisor):
    page = seen_by(supervisor, balance.page, "")
    assert [graph.id for graph in made.find(page, "Graph")] == ["days"]
    assert "Mon 5 Oct 90 30 – 90 3" in made.texts(page)


def test_no_minute_says_so_in_words(shop, at_noon, supervisor, monkeypatch):
    monkeypatch.setattr("dashboards.data.balance_days", lambda first, last: made.days([]))
    page = seen_by(supervisor, balance.page, "")
    assert made.find(page, "Graph") == []
    assert "Nothing was burnt or planned in these days." in made.texts(page)


@pytest.mark.parametrize("known_from", [None, date(2026, 12, 1)])
def test_days_before_a_source_are_unknown_and_not_nothing(
    shop, at_noon, supervisor, monkeypatch, known_from
):
    frame = made.days([])
    frame.attrs["known_from"] = known_from
    monkeypatch.setattr("dashboards.data.balance_days", lambda first, last: frame)
    said = made.texts(seen_by(supervisor, balance.page, ""))
    assert "Unknown: no source listened to a table." in said
    assert "Nothing was burnt" not in said


def test_days_before_the_first_source_are_told_from_those_after(
    shop, at_noon, supervisor, monkeypatch
):
    frame = made.days([(date(2026, 10, 5), "North", "fast", 90.0, 90.0, 3)])
    frame.attrs["known_from"] = date(2026, 10, 2)
    monkeypatch.setattr("dashboards.data.balance_days", lambda first, last: frame)
    said = made.texts(seen_by(supervisor, balance.page, ""))
    assert "Days before 2 Oct are unknown: no source listened to a table yet." in said


@pytest.fixture
def sets(shop, monkeypatch):
    rows = [
        made.a_set("North", "fast 120 A", chosen=True, total_s=600.0, cost=1000, least=True),
        made.a_set("North", "fine 80 A", total_s=780.0, cost=1100),
        made.a_set("North", "fine 50 A", problem="20 mm is above the pierce limit of 12 mm"),
    ]
    monkeypatch.setattr("dashboards.data.nest_by_sets", lambda nest: made.frame(made.SETS, rows))


def test_each_set_is_told_against_the_chosen_one(sets, owner):
    said = made.texts(seen_by(owner, balance.sets, 1))
    assert "● North fast 120 A fast 40 8.3 0.3 1.2 10.0 5" in said  # 500, 20, and 60 + 10 s
    assert "+3.0" in said  # 780 s less 600 s
    assert "10.00 least" in said


def test_why_a_set_is_refused_stands_beneath(sets, owner):
    said = made.texts(seen_by(owner, balance.sets, 1))
    assert "North, fine 50 A: 20 mm is above the pierce limit of 12 mm" in said


def test_money_is_a_column_only_of_those_who_see_cost(sets, owner, supervisor):
    heads = [made.texts(head) for head in made.find(seen_by(supervisor, balance.sets, 1), "Th")]
    assert not any("Cost" in head or "Wear" in head for head in heads)
    assert "10.00" not in made.texts(seen_by(supervisor, balance.sets, 1)).replace("10.0 5", "")


@pytest.mark.parametrize(
    ("nest", "said"), [(None, "Choose a nest"), (999_999, "no such nest"), ("x", "no such nest")]
)
def test_a_nest_there_is_not_is_said_in_words(shop, supervisor, nest, said):
    assert said in made.texts(seen_by(supervisor, balance.sets, nest))
