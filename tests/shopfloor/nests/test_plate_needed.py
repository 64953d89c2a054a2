"""Plate needed opens to the sheets, queue entries and nests that each of its counts is of."""

from __future__ import annotations

import re

import pytest
from django.urls import reverse

from shopfloor.models import Contour, QueueItem, Sheet
from shopfloor.nests.plate_needed import plates, plates_short
from tests.markup import worded

pytestmark = pytest.mark.django_db


def test_every_count_opens_to_what_it_counts(sign_in, planner, nest, sheet, north, job):
    nest.sheets_wanted = 4
    nest.save()
    Contour.objects.filter(revision__nest=nest).update(line=job.lines.get())
    QueueItem.objects.create(nest=nest, table=north, position=10, sheet=sheet)
    QueueItem.objects.create(nest=nest, table=north, position=20)
    page = sign_in(planner)
    body = page.get(reverse("low_stock")).content.decode()
    [address] = set(re.findall(r'href="(/stock/plate/[^"]+)"', body))
    opened = " ".join(worded(page.get(address).content.decode()).split())
    assert "1 sheet, 1 of them promised: 0 free. 1 queued without a sheet, 2 ahead" in opened
    assert "1 short for the queue" in opened
    assert "3 short in all" in opened
    assert reverse("sheet", args=[sheet.pk]) in opened
    assert opened.count(reverse("nest", args=[nest.pk])) == 2
    assert page.get("/stock/plate/1/nan/").status_code == 404
    assert page.get("/stock/plate/1/thick/").status_code == 404


@pytest.mark.parametrize("mm", [15.875, 47.625])  # 5/8 in and 1 7/8 in
def test_a_thickness_of_three_places_opens(sign_in, planner, sheet, mm):
    sheet.thickness_mm = mm
    sheet.save()
    page = sign_in(planner)
    [address] = set(re.findall(r'href="(/stock/plate/[^"]+)"',
                               page.get(reverse("low_stock")).content.decode()))  # fmt: skip
    assert page.get(address).status_code == 200


def test_the_short_way_says_what_the_long_way_says(planner, nest, sheet, north, remnant_of):
    """10.5 mm is near to 10 mm and not to 9.5 mm, 10 mm is near to both: which counts together
    depends on what comes first, a remnant too."""
    sheet.thickness_mm, nest.thickness_mm = 10.0, 9.5
    sheet.save()
    nest.save()
    remnant_of(sheet, 10.5)
    QueueItem.objects.create(nest=nest, table=north, position=10)
    assert [plate.short for plate in plates() if plate.short] == [1]
    assert [plate.short for plate in plates_short()] == [1]
    QueueItem.objects.all().delete()
    assert plates_short() == []


@pytest.fixture
def remnant_of():
    def made(sheet, mm):
        return Sheet.objects.create(
            code="R-1", material=sheet.material, thickness_mm=mm, thickness_text=f"{mm:g} mm",
            length_mm=500, width_mm=400, area_mm2=2e5, parent=sheet, received_at=sheet.received_at,
        )  # fmt: skip

    return made
