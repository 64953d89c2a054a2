"""Each person reads lengths, areas and speeds in the units they chose; what was typed stays."""

from __future__ import annotations

import html
import re

import pytest
from django.urls import reverse

from shopfloor.models import ChartRow
from shopfloor.nests.queue import queue_add
from shopfloor.stock.services import remnant_add
from tests.shopfloor.conftest import AT

METRIC = re.compile(r"\d\s?(mm|cm²|m²|mm/min|m)(?![\w²/])")
INCH = re.compile(r"\d\s?(in|ft|ft²|in/min)(?![\w²/])")
TYPED = re.compile(r"1/4 in|\d+ in stock")
PAGES = (
    ("stock", ""), ("sheet", "sheet"), ("remnants", ""), ("labels", ""), ("nest", "nest"),
    ("nest_parts", "nest"), ("setup", "nest"), ("plan", "plan"), ("queue_put", "nest"),
    ("chart", ""), ("checks", ""),
)  # fmt: skip


@pytest.fixture
def shop_full(nest, plan, sheet, north, run, operator, fast, steel):
    """Every length there is: a remnant, a place on a list, a chart row, a measured cut."""
    from shopfloor.models import Check

    plan.snapshot["chart"] |= {"kerf_mm": 1.6, "cut_height_mm": 1.5, "pierce_height_mm": 3.8}
    plan.save()
    remnant_add(sheet=sheet, length_mm=1000, width_mm=600, at=AT)
    queue_add(nest=nest, table=north, sheet=sheet)
    ChartRow.objects.create(
        wear_set=fast, material=steel, thickness_mm=6.35, thickness_text="1/4 in",
        speed_mm_min=2400, pierce_delay_s=0.5, pierce_height_mm=3.8, cut_height_mm=1.5,
        kerf_mm=1.6, max_pierce_mm=12.7, valid_from=AT,
    )  # fmt: skip
    Check.objects.create(run=run, at=AT, by=operator, u_mm=0.3, correction_mm=0.1)
    return {"": [], "sheet": [sheet.pk], "nest": [nest.pk], "plan": [plan.pk]}


def said(client, name, arguments) -> str:
    """The words of a page, without scripts, drawings' figures and what was typed."""
    page = client.get(reverse(name, args=arguments)).content.decode()
    page = page[page.index("<main") : page.index("</main>")]
    page = re.sub(r"<svg.*?</svg>|<script.*?</script>", " ", page, flags=re.DOTALL)
    return TYPED.sub(" ", html.unescape(re.sub(r"<[^>]+>", " ", page)))


@pytest.mark.parametrize(("name", "kind"), PAGES)
@pytest.mark.parametrize(
    ("units", "never", "some"), [("inch", METRIC, INCH), ("metric", INCH, METRIC)]
)
def test_a_page_speaks_one_unit(name, kind, units, never, some, shop_full, sign_in, owner):
    owner.units = units
    owner.save()
    text = said(sign_in(owner), name, shop_full[kind])
    assert never.findall(text) == [], text
    if name not in ("chart", "plan"):  # columns that name their unit
        assert some.search(text)


def test_figures_are_the_same_length(shop_full, sign_in, owner):
    """2500 mm are 98.43 in, 2400 mm/min 94.488 in/min, 1.6 mm 0.063 in, 3.8 mm 0.150 in; a square
    of 600 by 1000 mm has 0.6 / 0.09290304 = 6.458 ft2 (1 ft = 0.3048 m exactly)."""
    owner.units = "inch"
    owner.save()
    page = sign_in(owner)
    assert "98.43 in" in said(page, "stock", [])
    assert "6.46 ft²" in said(page, "remnants", [])
    setup = said(page, "setup", shop_full["nest"])
    assert re.search(r"cutting speed, in/min\s+94.488", setup)
    assert re.search(r"kerf, in\s+0.063", setup)
    chart = said(page, "chart", [])
    assert re.search(r"94\s", chart)
    assert "0.150 / 0.059" in chart


def test_the_paper_is_the_same_paper_in_either_unit(shop_full, sign_in, owner):
    page, url = sign_in(owner), reverse("setup", args=shop_full["nest"])
    first = page.get(url).context["paper"]
    owner.units = "inch"
    owner.save()
    assert page.get(url).context["paper"] == first


def test_plate_is_received_as_typed_in_inches(shop, steel, sign_in, planner):
    from shopfloor.models import Sheet

    sign_in(planner).post(
        reverse("stock_receive"),
        {"count": 1, "material": steel.pk, "thickness_text": "16 ga", "length": "96.5",
         "width": "48", "unit": "in"},
    )  # fmt: skip
    sheet = Sheet.objects.get()
    assert (sheet.length_mm, sheet.width_mm) == pytest.approx((2451.1, 1219.2))
    assert (sheet.thickness_text, round(sheet.thickness_mm, 3)) == ("16 ga", 1.518)


def received(client, steel, **told):
    values = {"count": 1, "material": steel.pk, "thickness_text": "16 ga", "unit": "mm"}
    return client.post(reverse("stock_receive"), values | told)


def test_a_receipt_in_the_wrong_unit_is_asked_about(shop, steel, sign_in, planner):
    from shopfloor.models import Sheet

    page = sign_in(planner)
    asked = received(page, steel, length="96", width="48").content.decode()
    assert "96 x 48 mm is a small piece for a plate; in inches?" in asked
    assert "The unit is right" in asked
    assert not Sheet.objects.exists()
    received(page, steel, length="96", width="48", unit_sure="on")
    assert Sheet.objects.get().length_mm == 96


def test_a_bare_quarter_is_asked_about_wherever_a_thickness_is_typed(shop, steel, sign_in, planner):
    from shopfloor.models import Sheet

    page = received(
        sign_in(planner), steel, thickness_text="0.25", length="2440", width="1220"
    ).content.decode()
    assert "thinner than any plate: write 0.25 in" in html.unescape(page)
    assert not Sheet.objects.exists()


def test_a_job_list_with_bare_inches_names_its_lines(shop, steel):
    from shopfloor.jobs.import_list import import_plan

    rows = b"job,customer,title,part,quantity,material,thickness\nK-1,Ann,x,p,1,A36,%s\n"
    assert import_plan(rows % b"0.5").faults == []
    assert "write 0.25 in" in import_plan(rows % b"0.25").faults[0].message
    shop.units = "inch"
    shop.save()
    assert "in or mm?" in import_plan(rows % b"0.5").faults[0].message
    assert import_plan(rows % b"0.5 in").faults == []


def test_a_remnant_measured_in_inches_is_asked_about(shop_full, sheet):
    from shopfloor.errors import FloorError

    with pytest.raises(FloorError, match="Was it measured in inches"):
        remnant_add(sheet=sheet, length_mm=36, width_mm=24, at=AT)


def test_people_start_with_the_shops_units(shop, planner, sign_in, administrator):
    from shopfloor.models import User
    from shopfloor.people.services import person_add
    from shopfloor.site.services import shop_set

    User.objects.filter(pk=administrator.pk).update(units="inch")
    shop_set(units="inch")
    planner.refresh_from_db()
    assert planner.units == "inch"
    made = person_add(
        username="new", first_name="New", last_name="One", role="planner",
        password="burn clean plate",
    )  # fmt: skip
    assert made.units == "inch"


def test_the_preview_of_a_list_speaks_inches(shop, steel, sign_in, planner):
    from django.core.files.uploadedfile import SimpleUploadedFile

    planner.units = "inch"
    planner.save()
    raw = b"job,customer,title,part,quantity,material,thickness\nK-1,Ann,x,p,1,A36,1/4 in\n"
    page = sign_in(planner).post(
        reverse("job_import"),
        {"file": SimpleUploadedFile("l.csv", raw), "encoding": "utf-8", "date_order": "none"},
    )  # fmt: skip
    assert "0.250 in" in page.content.decode()
    assert "mm" not in re.sub(r"<[^>]+>", " ", page.content.decode().split("<tbody>")[1])
