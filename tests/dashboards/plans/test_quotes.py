from __future__ import annotations

import re

import pytest
from django.contrib.auth.models import Permission

from planning.calc.drawing import Reading
from planning.services.drawing_plan import drawing_plan
from shopfloor.drawings.queries import drawing_chosen, drawings_to_choose
from shopfloor.drawings.services import drawing_add
from shopfloor.models import Drawing, Job, Nest, Quote, QuoteLine
from tests.planning import cast
from tests.planning.calc.drawing.made import dxf, square
from tests.planning.test_quotes import NOW, make

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def _now(monkeypatch):
    monkeypatch.setattr("dashboards.data.now", lambda: NOW)


def form(nest, **more):
    return {
        "customer": "Fallow Gate Farms", "title": "plates", "nest1": nest, "sheets1": "2",
        "chance": "0.2", "days": "30", "price": "",
    } | more  # fmt: skip


def test_a_quote_is_made_opened_and_decided(history, as_):
    client = as_("owner")
    assert "Nest 1" in client.get("/jobs/quotes/new/").content.decode()
    answer = client.post("/jobs/quotes/new/", form(history.nest.name), follow=True)
    body = answer.content.decode()
    assert "Q-0001" in body
    assert "20 in 100 such jobs take more" in body
    assert "5 runs of North, none with this set and plate" in body
    assert "5 runs known by" in body
    # what it comes to holds allowance and material: no column of one of them is to claim it
    total = re.search(r'<tr class="total">(.*?)</tr>', body, re.DOTALL).group(1)
    said = [re.sub("<[^>]*>", "", cell) for cell in re.findall(r"<td.*?</td>", total)]
    heads = ["With material", "Plan", "With allowance", "Material", "The allowance rests on"]
    assert len(said) == len(heads)
    assert said[2] == f"{Quote.objects.get().cost_minor / 100:,.2f}"
    assert said[3] == said[4] == ""
    quote = Quote.objects.get()
    body = client.post(f"/jobs/quotes/{quote.pk}/", {"do": "revise"}, follow=True).content.decode()
    assert "revision 2" in body
    newest = Quote.objects.get(revision=2)
    body = client.post(
        f"/jobs/quotes/{newest.pk}/", {"do": "lost", "why": "too dear"}, follow=True
    ).content.decode()
    assert "Ann Tiller" in body
    assert "too dear" in body
    assert "nothing can be said of overruns" in client.get("/jobs/quotes/").content.decode()


@pytest.mark.parametrize(
    ("more", "said"),
    [
        ({"sheets1": "two"}, "is not a number of sheets"),
        ({"days": "0"}, "1 to 365 days"),
        ({"chance": "0.9"}, "Choose a chance"),
        ({"price": "12.345"}, "is not a price"),
        ({"price": "dear"}, "is not a price"),
        ({"price": "NaN"}, "is not a price"),
        ({"price": "1e999"}, "is not a price"),
        ({"sheets1": "9" * 6000}, "is not a number of sheets"),
        ({"sheets1": "100001"}, "how many sheets?"),
        ({"also_sheets1": "5, many"}, "&#x27;many&#x27; is not a quantity"),
        ({"setup": "an hour"}, "is not a number of minutes"),
        ({"nest1": "99999"}, "There is no nest &#x27;99999&#x27; in use"),
    ],
)
def test_a_wrong_figure_is_said_and_what_was_typed_stays(history, as_, more, said):
    answer = as_("owner").post("/jobs/quotes/new/", form(history.nest.name, **more))
    assert said in answer.content.decode()
    assert "Fallow Gate Farms" in answer.content.decode()
    assert not Quote.objects.exists()


def test_other_quantities_stand_on_the_quote_with_their_prices(history, as_):
    asked = form(history.nest.name, also_sheets1="1 20", setup="45")
    body = as_("owner").post("/jobs/quotes/new/", asked, follow=True).content.decode()
    table = body[body.index("Other quantities") :]
    assert ", as asked" in table
    assert re.findall(r'<td class="num">(1|2|20)</td>\n<td class="num">(1|2|20)</td>', table) == [
        ("1", "1"), ("2", "2"), ("20", "20")
    ]  # fmt: skip


def test_a_price_as_asked_is_kept_beside_what_was_reckoned(history, as_):
    as_("owner").post("/jobs/quotes/new/", form(history.nest.name, price="1,234.50"))
    quote = Quote.objects.get()
    assert quote.price_minor == 123_450
    assert quote.cost_minor != quote.price_minor


@pytest.mark.parametrize(
    ("minor", "said"),
    [(129, "marking takes 2.0 min and 1.29 of the plan of each"),
     (None, "marking takes 2.0 min of the plan of each; what it costs is unknown")],
)  # fmt: skip
def test_what_marking_takes_is_said_with_its_cost_or_that_it_is_unknown(
    history, as_, owner, minor, said
):
    quote = make(history, owner)
    [line] = QuoteLine.objects.filter(quote=quote)
    line.made_from["marking"] = {"all_s": 120.0, "minor": minor}
    line.save()
    body = as_("owner").get(f"/jobs/quotes/{quote.pk}/").content.decode()
    assert said in " ".join(re.sub("<[^>]*>", "", body).split())


def test_a_decimal_comma_is_no_thousands_mark(history, as_):
    """12,50 is twelve and a half: taken for a grouping it would ask a hundred times as much."""
    as_("owner").post("/jobs/quotes/new/", form(history.nest.name, price="12,50"))
    assert Quote.objects.get().price_minor == 1250


def test_a_quote_is_taken_with_one_press(history, as_):
    client = as_("planner")
    client.post("/jobs/quotes/new/", form(history.nest.name))
    quote = Quote.objects.get()
    address = f"/jobs/quotes/{quote.pk}/"
    assert "Won: make a new job" in client.get(address).content.decode()
    for _ in range(2):
        body = client.post(address, {"do": "take", "job": "J-900"}, follow=True).content.decode()
    quote.refresh_from_db()
    assert Job.objects.filter(number="J-900").get() == quote.job
    assert f'href="/jobs/{quote.job.pk}/"' in body
    assert "1 won, 0" in client.get("/jobs/quotes/").content.decode()


def test_moved_prices_are_said_on_the_list(history, as_):
    as_("owner").post("/jobs/quotes/new/", form(history.nest.name))
    cast.rate("bench", 5280, valid_from=NOW.date())
    body = as_("owner").get("/jobs/quotes/").content.decode()
    assert "1 open quote was made at prices that have changed since." in body


def test_a_search_of_quotes_stays_in_the_address(history, as_):
    as_("owner").post("/jobs/quotes/new/", form(history.nest.name))
    body = as_("owner").get("/jobs/quotes/?q=Q-00&state=open").content.decode()
    assert "Q-0001" in body
    assert '?state=lost&amp;q=Q-00"' in body
    assert 'name="state" value="open"' in body
    nothing = as_("owner").get("/jobs/quotes/?q=Q-99").content.decode()
    assert "Q-0001" not in nothing
    assert "No quote like that." in nothing


@pytest.mark.parametrize("right", ["see_margin", "see_cost"])
def test_one_of_the_two_rights_is_not_enough(shop, as_, nobody, right):
    nobody.user_permissions.add(Permission.objects.get(codename=right))
    client = as_("nobody")
    for address in ("/jobs/quotes/", "/jobs/quotes/new/", "/jobs/quotes/1/"):
        assert client.get(address).status_code == 403


def test_the_jobs_page_leads_there_only_those_who_may(shop, as_):
    assert "/jobs/quotes/" in as_("owner").get("/jobs/").content.decode()
    assert "/jobs/quotes/" not in as_("supervisor").get("/jobs/").content.decode()
    assert Nest.objects.count() == 0


@pytest.fixture
def drawn(history, owner):
    made = drawing_add(
        name="base plate", file_name="base.dxf", raw=dxf(square), by=owner,
        material=history.nest.material, thickness_text="6 mm", reading=Reading(),
    )  # fmt: skip
    drawing_plan(key=str(made.revisions.get().pk), payload={})
    return f"{made.pk}-{history.nest.table_id}-{history.nest.wear_set_id}"


def test_a_quote_from_a_drawing_says_that_it_is_estimated(drawn, as_):
    client = as_("owner")
    assert "base plate, 6 mm MS" in client.get("/jobs/quotes/new/").content.decode()
    asked = form("", drawing1=drawn, parts1="25")
    body = client.post("/jobs/quotes/new/", asked, follow=True).content.decode()
    assert "base plate</a> rev 1, 25 parts" in body
    assert "estimated: no program yet" in body
    assert "estimated: no nest yet" in body
    assert Quote.objects.get().cost_minor > 0
    assert "Q-0001" in client.get("/jobs/quotes/").content.decode()


def test_a_drawing_that_is_no_longer_offered_is_found_by_its_name(drawn, as_, monkeypatch):
    monkeypatch.setattr("dashboards.data.drawings_to_choose", list)
    client = as_("owner")
    assert "the newest 200 are offered" in client.get("/jobs/quotes/new/").content.decode()
    for typed in ("Base plate", dict(drawings_to_choose())[drawn]):
        body = client.post("/jobs/quotes/new/", form("", drawing1=typed, parts1="25"), follow=True)
        assert "base plate</a> rev 1, 25 parts" in body.content.decode(), typed
    assert Quote.objects.count() == 2
    missing = client.post("/jobs/quotes/new/", form("", drawing1="base", parts1="25"))
    assert "is not a drawing with a table and a set" in missing.content.decode()


def test_of_drawings_that_differ_only_in_case_the_exact_name_is_meant(drawn, history, owner):
    """Whichever of the two was drawn first."""
    one = Drawing.objects.get()
    for name in ("BASE PLATE", "Base Plate"):
        made = drawing_add(
            name=name, file_name="b.dxf", raw=dxf(square), by=owner,
            material=one.material, thickness_text="6 mm", reading=Reading(),
        )  # fmt: skip
        drawing_plan(key=str(made.revisions.get().pk), payload={})
    for drawing in Drawing.objects.all():
        assert drawing_chosen(drawing.name).startswith(f"{drawing.pk}-"), drawing.name
    assert drawing_chosen("bAsE pLaTe") is not None


@pytest.mark.parametrize(
    ("route", "parts", "said"),
    [
        ("{}", "0", "how many parts"),
        ("{}", "many", "is not a number of parts"),
        ("1-2", "3", "is not a drawing with a table and a set"),
        ("x-y-z", "3", "is not a drawing with a table and a set"),
        ("999-999-999", "3", "no such drawing, table or set"),
    ],
)
def test_a_wrong_drawing_is_said(drawn, as_, route, parts, said):
    asked = form("", drawing1=route.format(drawn), parts1=parts)
    assert said in as_("owner").post("/jobs/quotes/new/", asked).content.decode()
    assert not Quote.objects.exists()


def test_nests_and_drawings_are_found_by_typing_their_names(history, drawn, as_):
    """Two lists serve all rows, and what is typed may be a name or the words offered."""
    client = as_("owner")
    body = client.get("/jobs/quotes/new/").content.decode()
    assert body.count('list="nests"') == body.count('list="drawings"') == 4
    words = re.findall(r'<option value="([^"]+)">', body)
    nest = next(one for one in words if one.startswith(history.nest.name))
    drawing = next(one for one in words if one.startswith("base plate"))
    for typed in (nest, history.nest.name.lower()):
        client.post("/jobs/quotes/new/", form(typed, drawing1=drawing, parts1="25"))
    assert [quote.lines.count() for quote in Quote.objects.all()] == [2, 2]
    answer = client.post("/jobs/quotes/new/", form("no such nest"))
    assert "There is no nest &#x27;no such nest&#x27; in use" in answer.content.decode()
    assert 'value="no such nest"' in answer.content.decode()


def test_the_figure_says_what_it_does_not_rest_on(history, owner, as_):
    """Ranges of shift ends were widened and quotes are not; days beyond the limit are not drawn."""
    quote, client = make(history, owner), as_("owner")

    def page(scale, beyond):
        quote.forecast["tables"][0]["scale"], quote.forecast["beyond"] = scale, beyond
        quote.save()
        body = client.get(f"/jobs/quotes/{quote.pk}/").content.decode()
        return " ".join(re.sub(r"<[^>]+>", "", body).split())

    said = page(1.25, 0.004)
    assert "Its ranges on Today are scaled by 1.25, learned at ends of shifts" in said
    assert "In 1 of 100 draws a table works for more than 400 days of 8 hours" in said
    said = page(1.0, 0.0)
    assert "ranges on Today" not in said
    assert "of 100 draws" not in said
