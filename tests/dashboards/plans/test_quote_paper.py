"""The page of a quote that a customer gets."""

from __future__ import annotations

import re

import pytest

from planning.calc.drawing import Reading
from planning.services.quotes import LineAsked, PartsAsked, quote_decide, quote_make, quote_revise
from shopfloor.drawings.services import drawing_add
from shopfloor.models import Contour, Quote, Shop
from tests.planning.calc.drawing.made import dxf, square
from tests.planning.test_quotes import NOW

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def _now(monkeypatch):
    monkeypatch.setattr("dashboards.data.now", lambda: NOW)


@pytest.fixture
def quote(history, owner):
    """A program of a plate and a drawing, asked for 1,000.01 together."""
    Shop.objects.update(name="Brindle Weir", address="1 Mill Lane\nBrindle", contact="555 0100")
    drawn = drawing_add(
        name="base plate", file_name="base.dxf", raw=dxf(square), by=owner,
        material=history.nest.material, thickness_text="6 mm", reading=Reading(),
    )  # fmt: skip
    nest = history.nest
    return quote_make(
        customer="Fallow Gate Farms", title="plates", chance=0.2, valid_days=30, by=owner, now=NOW,
        price_minor=100_001,
        lines=[
            LineAsked(nest.pk, 2, (5,)),
            PartsAsked(drawn.pk, nest.table_id, nest.wear_set_id, 30, (10, 100), 20.0),
        ],
    )  # fmt: skip


def shown(body):
    """What a customer sees of the page: the paper alone, without tags."""
    text = re.sub(r"<[^>]+>", " ", body[body.index("<article") : body.index("</article>")])
    return re.sub(r"\s+", " ", text)


def page(client, quote):
    return client.get(f"/jobs/quotes/{quote.pk}/paper/").content.decode()


def test_it_says_prices_and_nothing_of_what_the_work_costs(quote, as_):
    text = shown(page(as_("planner"), quote))
    for said in (
        "Brindle Weir", "1 Mill Lane", "555 0100", "Quote Q-0001", "Fallow Gate Farms",
        "8 October 2026", "7 November 2026", "base plate", "6 mm", "100 mm × 100 mm", "1,000.01",
        "tax not included", "as asked",
    ):  # fmt: skip
        assert said in text, said
    secret = [quote.cost_minor, quote.plan_minor, quote.forecast["allowed_minor"]]
    for line in quote.lines.all():
        secret += [line.cost_minor, line.plan_minor, line.material_minor, line.setup_minor]
        secret += [one["minor"] for one in line.breaks] + [one["work_minor"] for one in line.breaks]
    for minor in secret:
        assert f"{minor / 100:,.2f}" not in text
    for name in ("Kerfbook", "N-1", "North", "fast", "MS", "minute", "hour", " min ", "in 100"):
        assert name not in text, name


def test_its_sum_is_the_sum_of_its_lines(quote, as_):
    body = page(as_("owner"), quote)
    table = body[body.index("offer-sum") :]
    amounts = [
        int(one.replace(",", "").replace(".", ""))
        for one in re.findall(r'<td class="num">(?:<data[^>]*>)?([\d,]+\.\d\d)', table)
    ]
    [each_1, line_1, each_2, line_2, whole] = amounts
    assert line_1 + line_2 == whole == 100_001
    assert (abs(2 * each_1 - line_1) <= 1, abs(30 * each_2 - line_2) <= 15) == (True, True)


def test_what_is_typed_for_the_customer_stands_on_it(quote, as_):
    client = as_("planner")
    said = {
        "enquiry": "your enquiry of 26 November", "lead_time": "8 working days", "terms": "net 30",
        "line1": "Bracket <b>left</b>", "line2": "",
    }  # fmt: skip
    client.post(f"/jobs/quotes/{quote.pk}/words/", said)
    body = page(client, quote)
    for text in ("your enquiry of 26 November", "8 working days", "net 30", "base plate"):
        assert text in body
    assert "Bracket &lt;b&gt;left&lt;/b&gt;" in body
    newest = quote_revise(quote=quote, by=quote.made_by, now=NOW)
    assert "8 working days" in page(client, newest)
    assert "Bracket" in page(client, newest)


def test_a_program_is_called_by_its_parts_and_never_by_its_own_name(quote, as_):
    assert "1. a sheet of 1 plate" in shown(page(as_("planner"), quote))
    Contour.objects.update(line=None)
    assert "1. plates" in shown(page(as_("planner"), quote))  # what the quote is titled


def test_what_was_decided_stays_as_the_customer_had_it(quote, as_, owner):
    quote_decide(quote=quote, won=False, by=owner, now=NOW)
    as_("planner").post(f"/jobs/quotes/{quote.pk}/words/", {"lead_time": "tomorrow"})
    assert Quote.objects.get().lead_time == ""


def test_an_unknown_price_is_on_request(quote, as_):
    Quote.objects.update(price_minor=None)
    text = shown(page(as_("planner"), quote))
    assert "on request" in text
    assert not re.search(r"\d\.\d\d ", text)


@pytest.mark.parametrize("who", ["supervisor", "operator"])
def test_it_takes_the_right_to_make_quotes(quote, as_, who):
    client = as_(who)
    assert client.get(f"/jobs/quotes/{quote.pk}/paper/").status_code in (302, 403)
    client.post(f"/jobs/quotes/{quote.pk}/words/", {"terms": "free"})
    assert Quote.objects.get().terms == ""


def test_there_is_none_of_a_quote_that_is_not_there(quote, as_):
    assert as_("owner").get("/jobs/quotes/999/paper/").status_code == 404
