"""The gate on made-up shops: what it asks, what it leaves out, what it finds."""

from __future__ import annotations

import json
from io import StringIO

import pytest
from django.core.management import CommandError, call_command

from dashboards.bench import board
from dashboards.bench.addresses import ACTS, names, unseen
from dashboards.bench.judging import Answer
from dashboards.bench.measuring import HEADER, Measured


class MadeUp:
    """Pages that take as many seconds as they are given; None never comes."""

    database = "made up"
    people = {"owner": {}, "operator": {}}

    def __init__(self, **pages: float | None) -> None:
        self.addresses = pages
        self.told: dict[str, int] = {}
        self.asked: list[tuple[str, str]] = []

    def bare(self, role: str) -> Answer:
        return Answer(200, 0.002)

    def days(self, label: str) -> int | None:
        return self.told.get(label)

    def keep(self) -> None: ...

    def visit(self, label: str, role: str) -> list[Answer]:
        self.asked.append((label, role))
        if label == "cost" and role == "operator":
            return [Answer(403, 0.001)]
        cost_s = self.addresses[label]
        return [Answer.late() if cost_s is None else Answer(200, cost_s)]


@pytest.fixture
def shops():
    """In the large one the board is slower by half and more, and cost never ends."""
    return MadeUp(jobs=0.02, board=0.02, cost=0.02), MadeUp(jobs=0.02, board=0.04, cost=None)


def found(shops):
    keys = [(label, role) for label in shops[0].addresses for role in MadeUp.people]
    return board.found(shops, keys, turns=3)


def test_it_names_what_is_over_and_goes_on_past_a_page_that_never_ends(shops):
    answer = found(shops)
    over = {(page["label"], page["role"]): page["over"] for page in answer["pages"] if page["over"]}
    assert over == {
        ("board", "owner"): ("2.0 times the small shop's",),
        ("board", "operator"): ("2.0 times the small shop's",),
        ("cost", "owner"): ("large shop: no answer in time",),
    }
    assert not answer["met"]
    assert (answer["over"], answer["measured"]) == (3, 5)


def test_a_page_that_never_ends_is_asked_once_and_one_that_is_refused_is_no_page(shops):
    answer = found(shops)
    assert shops[1].asked.count(("cost", "owner")) == 1
    assert shops[1].asked.count(("jobs", "owner")) == 4  # to warm up, and three turns
    assert ("cost", "operator") not in {(one["label"], one["role"]) for one in answer["pages"]}


def test_both_shops_are_asked_in_turns(shops):
    found(shops)
    assert shops[0].asked == shops[1].asked


def test_a_shop_that_grew_no_page_passes():
    same = MadeUp(jobs=0.02), MadeUp(jobs=0.022)
    answer = found(same)
    assert answer["met"]
    assert answer["median_ratio"] == pytest.approx(1.1)
    assert "0 over" in board.table(answer)[-1]


def test_a_report_of_more_days_is_held_by_the_day_and_says_so():
    pair = MadeUp(measures=0.02), MadeUp(measures=0.042)
    pair[0].told, pair[1].told = {"measures": 42}, {"measures": 91}
    answer = found(pair)
    assert answer["met"]
    assert answer["pages"][0]["ratio"] == pytest.approx(0.042 / 0.02 * 42 / 91)
    lines = board.table(answer)
    assert "of 91 days against 42" in lines[2]
    assert "2 report on more days in the older shop: their ratio is a day's" in lines


def test_the_command_ends_with_status_1_where_something_is_over(shops, monkeypatch):
    answer = found(shops)
    monkeypatch.setattr(board, "run", lambda quick: answer)
    said = StringIO()
    with pytest.raises((SystemExit, CommandError)) as ended:
        call_command("bench", "board", "--json", stdout=said)
    assert ended.value.code == 1
    assert json.loads(said.getvalue())["over"] == 3


def test_every_address_is_measured_or_is_said_to_show_nothing():
    assert unseen() == []
    assert set(names()) >= ACTS  # none of them is a name of the past


@pytest.mark.django_db
def test_an_answer_says_what_it_took():
    from shopfloor.models import Table

    def application(environ, start_response):
        list(Table.objects.all())
        list(Table.objects.all())
        start_response("200 OK", [("X-Own", "kept")])
        return [b"whole", b" body"]

    seen = {}
    measured = Measured(application, timeout_s=60)
    body = measured({}, lambda status, headers: seen.update(headers, status=status))
    assert (b"".join(body), seen["status"], seen["X-Own"]) == (b"whole body", "200 OK", "kept")
    told = json.loads(seen[HEADER])
    assert told["queries"] == 2
    assert told["wall_s"] >= 0
    assert told["cpu_s"] > 0
    assert told["late"] is False
