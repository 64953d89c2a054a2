"""A list of drawings becomes one quote with a line each."""

from __future__ import annotations

import pytest
from django.urls import reverse

from planning.calc.drawing import Reading
from planning.services.quotes import PartsAsked, quote_make
from shopfloor.drawings.services import drawing_add
from shopfloor.models import DrawingPlan, Material, Quote
from tests.planning.calc.drawing.made import dxf, square
from tests.planning.test_quotes import NOW

pytestmark = pytest.mark.django_db
ABOUT = {"customer": "Fallow Gate Farms", "title": "brackets", "chance": "0.2", "days": "30"}


@pytest.fixture(autouse=True)
def _now(monkeypatch):
    monkeypatch.setattr("dashboards.data.now", lambda: NOW)


@pytest.fixture
def parts(history, owner):
    """Squares of 100, 200 and 300 mm, not planned yet: the worker has not come to them."""
    return [
        drawing_add(
            name=f"square {side}", file_name="s.dxf", by=owner, reading=Reading(),
            raw=dxf(lambda space, side=side: square(space, side=side)), thickness_text="6 mm",
            material=Material.objects.get(pk=history.nest.material_id),
        )
        for side in (100, 200, 300)
    ]  # fmt: skip


def address(parts, quantity=5) -> str:
    return reverse("quote_parts") + "?" + "&".join(f"part={one.pk}.{quantity}" for one in parts)


def test_parts_that_no_worker_has_planned_are_planned_and_quoted_a_line_each(parts, as_, owner):
    client = as_("owner")
    body = client.get(address(parts)).content.decode()
    assert "square 300" in body
    assert 'value="5"' in body
    asked = ABOUT | {f"parts{parts[1].pk}": "7", f"parts{parts[2].pk}": ""}
    client.post(address(parts), asked)
    quote = Quote.objects.get()
    lines = [(line.drawing.drawing.name, line.parts) for line in quote.lines.order_by("number")]
    assert lines == [("square 100", 5), ("square 200", 7)]
    # as a quote of the same lines typed one by one
    ways = [(line.drawing.drawing_id, line.table_id, line.wear_set_id, line.parts)
            for line in quote.lines.order_by("number")]  # fmt: skip
    again = quote_make(
        customer="x", title="x", lines=[PartsAsked(*way) for way in ways], chance=0.2,
        valid_days=30, by=owner, now=NOW,
    )  # fmt: skip
    assert (quote.cost_minor, quote.plan_minor) == (again.cost_minor, again.plan_minor)
    assert quote.cost_minor is not None


def test_the_fastest_route_is_taken_unless_another_is_chosen(parts, as_):
    client = as_("owner")
    client.post(address(parts[:1]), ABOUT)
    plans = DrawingPlan.objects.filter(problem="").order_by("total_s", "pk")
    assert len(plans) >= 1
    line = Quote.objects.get().lines.get()
    assert line.table_id == plans[0].table_id
    assert min(plan.total_s for plan in plans) == plans[0].total_s
    slow = plans.last()
    chosen = {f"route{parts[0].pk}": f"{slow.table_id}-{slow.wear_set_id}"}
    client.post(address(parts[:1]), ABOUT | chosen)
    line = Quote.objects.order_by("pk").last().lines.get()
    assert (line.table_id, line.wear_set_id) == (slow.table_id, slow.wear_set_id)


@pytest.mark.parametrize(
    ("more", "said"),
    [
        ({"chance": "2"}, "Choose a chance"),
        ({"customer": " "}, "Say for whom it is"),
        ({"parts": "many"}, "is not a number of parts"),
        ({"parts": "0"}, "at least one part"),
        ({"parts": "100001"}, "how many parts?"),
        ({"route": "north"}, "is not a table and a set"),
        ({"route": "999-999"}, "There is no such drawing, table or set"),
    ],
)
def test_what_cannot_be_quoted_is_said_and_what_was_typed_stays(parts, as_, more, said):
    own = {f"{k}{parts[0].pk}" if k in ("parts", "route") else k: v for k, v in more.items()}
    body = as_("owner").post(address(parts[:1]), ABOUT | own).content.decode()
    assert said in body
    assert "brackets" in body
    assert not Quote.objects.exists()


def test_a_part_that_no_set_can_cut_is_named(parts, as_, owner):
    other = Material.objects.create(code="CU", name="Copper", density_kg_m3=8940)
    drawn = drawing_add(
        name="bus bar", file_name="b.dxf", raw=dxf(square), material=other, by=owner,
        thickness_text="6 mm", reading=Reading(),
    )  # fmt: skip
    body = as_("owner").post(address([parts[0], drawn]), ABOUT).content.decode()
    assert "bus bar: no set has its material in the cut chart." in body
    assert not Quote.objects.exists()


@pytest.mark.parametrize(
    "query", ["", "?part=", "?part=x.1", "?part=1", "?part=999999.5", "?part=1.-1"]
)
def test_an_address_that_names_no_part_sends_to_the_drawings(as_, history, query):
    body = as_("owner").get(reverse("quote_parts") + query).content.decode()
    assert "Bring their drawings first" in body
