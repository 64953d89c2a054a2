"""Prices, rates and bench minutes from a list: all rows or none."""

from __future__ import annotations

from datetime import UTC, date, datetime

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.urls import reverse

from shopfloor.books.price_lists import prices_bring
from shopfloor.models import ChartRow, Rate, SetPart

PARTS = b"""Set;Kind;Name;Price;Rated starts;In drawer
F120;nozzle;Nozzle 120;12,50;300;8
f120;Electrode;;9,80;;
"""


def sent(page, raw, kind):
    return page.post(
        reverse("prices_bring"),
        {"kind": kind, "encoding": "utf-8", "file": SimpleUploadedFile("p.csv", raw)},
    )


def test_parts_with_prices_and_rated_lives(fast, sign_in, planner):
    sent(sign_in(planner), PARTS, "parts")
    rows = SetPart.objects.order_by("kind").values_list(
        "kind", "name", "price_minor", "rated_starts", "in_drawer"
    )
    assert list(rows) == [
        ("electrode", "electrode", 980, None, 0), ("nozzle", "Nozzle 120", 1250, 300, 8)
    ]  # fmt: skip


def test_a_second_list_changes_what_it_says_and_keeps_the_rest(fast):
    prices_bring(PARTS, kind="parts", wages=False)
    prices_bring(b"set,kind,price\nF120,nozzle,14\n", kind="parts", wages=False)
    part = SetPart.objects.get(kind="nozzle")
    assert (part.price_minor, part.rated_starts, part.in_drawer) == (1400, 300, 8)


def test_one_fault_writes_nothing_and_names_each_line(fast, sign_in, planner):
    raw = b"set,kind,price\nF120,nozzle,12.50\nF9,nozzle,1\nF120,spring,1\nF120,shield,dear\n"
    said = sent(sign_in(planner), raw, "parts").content.decode()
    for line, why in ((3, "F9"), (4, "spring"), (5, "dear")):
        assert f"line {line}: " in said
        assert why in said
    assert not SetPart.objects.exists()


def test_rates_of_a_table_and_of_all(north, shop):
    raw = b"rate,table,amount,from\nmachine,North,95,2026-10-01\ngas,,4.20,2026-10-01\n"
    assert prices_bring(raw, kind="rates", wages=False) == (2, [])
    rows = Rate.objects.order_by("kind").values_list("kind", "table", "amount_minor", "valid_from")
    day = date(2026, 10, 1)
    assert list(rows) == [("gas", None, 420, day), ("machine", north.pk, 9500, day)]


def test_wages_take_the_right_to_see_them(shop):
    raw = b"rate,amount,from\nlabour,31,2026-10-01\n"
    written, faults = prices_bring(raw, kind="rates", wages=False)
    assert (written, [fault.line for fault in faults]) == (0, [2])
    assert not Rate.objects.exists()
    assert prices_bring(raw, kind="rates", wages=True) == (1, [])


def test_bench_minutes_make_a_new_chart_row_and_keep_its_figures(fast, steel):
    ChartRow.objects.create(
        wear_set=fast, material=steel, thickness_mm=6.35, thickness_text="1/4 in",
        speed_mm_min=2400, pierce_delay_s=0.5, kerf_mm=1.6,
        valid_from=datetime(2026, 10, 1, tzinfo=UTC),
    )  # fmt: skip
    raw = b"set,material,thickness,minutes\nF120,A36,1/4 in,0.8\n"
    assert prices_bring(raw, kind="bench", wages=False) == (1, [])
    row = ChartRow.objects.get(valid_to=None)
    assert (row.bench_min_per_m, row.speed_mm_min, row.kerf_mm) == (0.8, 2400, 1.6)


@pytest.mark.parametrize("minutes", ["-1", "nan", "soon", "1e9"])
def test_minutes_that_cannot_be_are_refused(minutes, fast, steel):
    ChartRow.objects.create(
        wear_set=fast, material=steel, thickness_mm=6.35, thickness_text="1/4 in",
        speed_mm_min=2400, pierce_delay_s=0.5, valid_from=datetime(2026, 10, 1, tzinfo=UTC),
    )  # fmt: skip
    raw = f"set,material,thickness,minutes\nF120,A36,1/4 in,{minutes}\n".encode()
    written, faults = prices_bring(raw, kind="bench", wages=False)
    assert (written, len(faults)) == (0, 1)
