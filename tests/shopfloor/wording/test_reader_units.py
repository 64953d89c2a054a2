"""Lengths that were stored reach each reader in their own unit: in notes, refusals and fields.
Inches are worked by hand, 25.4 mm each."""

from __future__ import annotations

import pytest
from django.urls import reverse

from planning.calc.program import read_program
from planning.services.nest_plan import revision_plan
from shopfloor.models import ChartRow, Shop
from shopfloor.nests.services import program_notes
from shopfloor.web.forms import AreaField, LengthField
from tests.shopfloor.conftest import AT, PROGRAM
from tests.shopfloor.wording.test_units import said

pytestmark = pytest.mark.django_db


@pytest.fixture
def inches(planner):
    planner.units = "inch"
    planner.save()
    return planner


def test_a_note_of_the_reader_is_told_in_inches(nest, inches, sign_in):
    """The second square ends at X300, 100 mm beyond 200."""
    nest.sheet_length_mm, nest.sheet_width_mm = 200, 150
    nest.save()
    revision = nest.revisions.get()
    revision.notes = program_notes(read_program(PROGRAM), nest)
    revision.save()
    page = sign_in(inches)
    text = said(page, "nest", [nest.pk])
    assert "contour 3 reaches 3.937 in beyond a sheet of 7.874 x 5.906 in" in text
    inches.units = "metric"
    inches.save()
    assert "contour 3 reaches 100 mm beyond a sheet of 200 x 150 mm" in said(
        page, "nest", [nest.pk]
    )


def test_why_a_route_is_refused_is_told_in_inches(nest, fast, steel, inches, sign_in):
    """A row for 25.4 mm alone, and plate of another thickness."""
    ChartRow.objects.all().delete()
    ChartRow.objects.create(
        wear_set=fast, material=steel, thickness_mm=25.4, thickness_text="1 in",
        speed_mm_min=900, pierce_delay_s=0.5, kerf_mm=1.6, valid_from=AT,
    )  # fmt: skip
    revision_plan(revision=nest.revisions.get(), now=AT)
    text = said(sign_in(inches), "nest", [nest.pk])
    assert "is beyond the rows for set" in text
    assert "which go from 1 to 1 in" in text


def test_a_pit_limit_is_shown_and_typed_in_inches(fast, inches, sign_in):
    page, address = sign_in(inches), reverse("set", args=[fast.pk])
    typed = {"kind": "electrode", "name": "E", "price": "9", "in_drawer": 1, "low_at": 1, "pack": 1}
    assert page.post(address, typed | {"pit_limit_mm": "0.063"}).status_code == 302
    assert fast.parts.get().pit_limit_mm == 1.6
    form = page.get(address + "?kind=electrode").context["form"]
    assert (form["pit_limit_mm"].label, form["pit_limit_mm"].value()) == ("Pit limit, in", 0.063)
    page.post(address, typed | {"pit_limit_mm": "0.063", "in_drawer": 2})
    assert fast.parts.get().pit_limit_mm == 1.6  # left alone, it stays


def test_a_length_left_alone_stays_to_the_hundredth():
    field = LengthField(label="Pit limit", min_value=0.01, max_value=10)
    field.read_in(inch=True)
    for hundredths in range(1, 1001):
        mm = hundredths / 100
        assert field.clean(str(field.prepare_value(mm))) == mm


def test_an_area_is_typed_in_the_readers_unit_and_left_alone_it_stays(shop, administrator, sign_in):
    """1 ft is 0.3048 m exactly: 0.25 m² are 2.6910 ft², and 3 ft² are 0.2787 m²."""
    Shop.objects.update(remnant_min_mm2=250_000)
    administrator.units = "inch"
    administrator.save()
    field = sign_in(administrator).get(reverse("shop")).context["rules"]["remnant_min_m2"]
    assert (field.label, field.value()) == ("From an area of, ft²", 2.691)
    typed = AreaField(label="From", min_value=0, max_value=100)
    typed.read_in(inch=True)
    assert typed.clean("3") == 0.2787
    for square_cm in range(1, 10_000, 7):
        m2 = square_cm / 10_000
        assert typed.clean(str(typed.prepare_value(m2))) == m2


@pytest.mark.parametrize(
    ("units", "label", "shows"), [("inch", "in", 0.063), ("metric", "mm", 1.6)]
)
def test_the_shops_own_limit_too(units, label, shows, shop, administrator, sign_in):
    Shop.objects.update(pit_limit_mm=1.6)
    administrator.units = units
    administrator.save()
    field = sign_in(administrator).get(reverse("shop")).context["rules"]["pit_limit_mm"]
    assert (field.label, field.value()) == (f"Electrode due at a pit of, {label}", shows)
