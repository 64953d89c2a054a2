"""Papers as a printer gets them, photographed and read back by a reader nobody here wrote."""

from __future__ import annotations

from io import BytesIO

import pytest
import zxingcpp
from django.urls import reverse
from PIL import Image

from shopfloor.nests.queue import queue_add

pytestmark = [
    pytest.mark.browser,
    pytest.mark.slow,
    pytest.mark.django_db(transaction=True),
    pytest.mark.filterwarnings("ignore:No directory at"),
]


def read(page) -> set[tuple[str, str]]:
    """The codes on the printed page: 96 dots an inch times three is what office printers do."""
    page.emulate_media(media="print")
    page.wait_for_load_state("networkidle")
    shot = Image.open(BytesIO(page.screenshot(full_page=True))).convert("L")
    kinds = {"QRCode": "QR", "Code128": "bars"}
    return {
        (one.text, kinds[one.format.name])
        for one in zxingcpp.read_barcodes(shot)
        if one.format.name in kinds
    }


@pytest.mark.parametrize("theme", ["light", "dark"])
def test_a_traveler_is_read_back(theme, job, operator, signed_in):
    operator.theme = theme
    operator.save()
    page = signed_in(operator, 794, 1123, device_scale_factor=3)
    page.goto(reverse("traveler", args=[job.pk]))
    assert read(page) == {("K-2284.t1", "QR"), ("K-2284.t1", "bars"), ("K-2284/1", "QR")}


def test_a_setup_sheet_is_read_back(nest, plan, sheet, north, operator, signed_in):
    queue_add(nest=nest, table=north, sheet=sheet)
    page = signed_in(operator, 794, 1123, device_scale_factor=3)
    page.goto(reverse("setup", args=[nest.pk]))
    of_nest = {("2284-1.s1", "QR"), ("2284-1.s1", "bars")}
    assert read(page) == of_nest | {(sheet.code, "QR"), (sheet.code, "bars")}
