"""Forms begin with what the shop leaves no choice about, and with nothing where there is one."""

from __future__ import annotations

import pytest
from django.urls import reverse

from shopfloor.models import Material, Table, Terminal, WearSet

pytestmark = pytest.mark.django_db


def _begins(page, name, *fields, args=()):
    form = page.get(reverse(name, args=args)).context["form"]
    return [str(form[field].value() or "") for field in fields]


def test_a_new_nest_begins_with_the_only_material_set_table_and_thickness(
    sign_in, planner, job, steel, fast, north
):
    fields = ("material", "thickness_text", "wear_set", "table")
    page = sign_in(planner)
    assert _begins(page, "nest_add", *fields) == [
        str(steel.pk), "1/4 in", str(fast.pk), str(north.pk),
    ]  # fmt: skip
    WearSet.objects.create(code="F45", duty="fine", current_a=45)
    Table.objects.create(code="south", name="South")
    Material.objects.create(code="304", name="304", family="stainless", density_kg_m3=8000)
    assert _begins(page, "nest_add", *fields) == ["", "1/4 in", "", ""]


def test_plate_begins_with_the_size_received_last_in_ones_own_unit(sign_in, planner, sheet):
    page = sign_in(planner)
    assert _begins(page, "stock_receive", "length", "width", "unit") == ["2500.0", "1250.0", "mm"]
    planner.units = "inch"
    planner.save()
    assert _begins(page, "stock_receive", "length", "unit") == ["98.425", "in"]


def test_a_screen_begins_with_the_first_table_that_has_none(sign_in, administrator, north):
    page = sign_in(administrator)
    assert _begins(page, "terminals", "code", "table") == ["north-screen", str(north.pk)]
    Terminal.objects.create(code="north-screen", name="North screen", table=north)
    assert _begins(page, "terminals", "code", "table") == ["", ""]


def test_a_material_needs_its_code_alone(sign_in, administrator, shop):
    page = sign_in(administrator)
    page.post(reverse("materials"), {"code": "5052", "family": "aluminium"})
    made = Material.objects.get(code="5052")
    assert (made.name, made.density_kg_m3) == ("5052", 2700.0)


@pytest.mark.parametrize(
    ("family", "chosen", "caution"),
    [("stainless", "", "chromium"), ("galvanised", "", "coated"), ("mild steel", "", ""),
     ("mild steel", "coated", "coated")],
)  # fmt: skip
def test_a_material_added_by_hand_has_the_caution_of_its_family(
    sign_in, administrator, shop, family, chosen, caution
):
    """As one that comes in with a chart has."""
    page = sign_in(administrator)
    page.post(reverse("materials"), {"code": "X", "family": family, "caution": chosen})
    assert Material.objects.get(code="X").caution == caution


def test_parts_of_one_shape_begin_with_the_only_line_that_fits(sign_in, planner, nest, job):
    """The nest has two shapes, one of them with a hole: nothing is suggested for either."""
    page = sign_in(planner)
    form = page.get(reverse("nest_parts", args=[nest.pk])).context["form"]
    assert len(form.groups) == 2
    assert not any(form[f"line_{row.group.label}"].value() for row in form.groups)
