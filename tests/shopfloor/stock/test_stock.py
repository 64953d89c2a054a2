"""Plate in, certificates kept, and a heat traced both ways."""

from __future__ import annotations

import hashlib
from decimal import Decimal

import pytest
from django.core.exceptions import ValidationError
from django.core.files.uploadedfile import SimpleUploadedFile
from django.urls import reverse

from shopfloor.models import Heat, PartResult, Run, Sheet
from shopfloor.stock.sheets import certificate_keep, sheet_leave, sheets_receive
from tests.shopfloor.conftest import AT

PDF = b"%PDF-1.4 heat Y"


@pytest.fixture
def remnant(sheet, steel):
    made = sheets_receive(
        count=1, material=steel, thickness_text="1/4 in", length_mm=800, width_mm=400,
        heat_number="Y9", certificate=PDF, cost_minor=0, received_at=AT,
    )[0]  # fmt: skip
    made.parent = sheet
    made.save()
    return made


def test_received_sheets_are_numbered_on(steel, shop):
    how = {"material": steel, "thickness_text": "16 ga", "length_mm": 2440, "width_mm": 1220}
    first = sheets_receive(count=2, **how)
    assert [sheet.code for sheet in first] == ["P-1001", "P-1002"]
    assert sheets_receive(count=1, **how)[0].code == "P-1003"
    # 16 ga carbon steel: 40 oz/ft2 / 16 / 41.82 in = 0.05978 in = 1.5184 mm (Manufacturers'
    # Standard Gauge).
    assert first[0].thickness_mm == pytest.approx(1.5184, abs=1e-4)
    assert first[0].thickness_text == "16 ga"
    assert first[0].cost_minor is None


def test_a_customers_own_plate_costs_nothing(steel, shop):
    how = {"material": steel, "thickness_text": "6 mm", "length_mm": 1000, "width_mm": 500}
    own = sheets_receive(count=1, owner="Oxlode Bridge", **how)[0]
    assert (own.owner.name, own.cost_minor) == ("Oxlode Bridge", 0)
    with pytest.raises(ValidationError, match="no cost"):
        sheets_receive(count=1, owner="Oxlode Bridge", cost_minor=5, **how)


def test_a_certificate_is_kept_by_its_hash_and_not_replaced(sheet, sign_in, operator):
    heat = sheet.heat
    raw = b"%PDF-1.4 a certificate"
    assert heat.certificate_sha256 == hashlib.sha256(raw).hexdigest()
    certificate_keep(heat=heat, raw=raw)
    with pytest.raises(ValidationError, match="another certificate"):
        certificate_keep(heat=heat, raw=PDF)
    answer = sign_in(operator).get(reverse("certificate", args=[heat.pk]))
    assert answer.content == raw
    assert answer["Content-Disposition"].startswith("attachment")


def test_a_certificate_whose_file_was_changed_is_not_handed_out(sheet, sign_in, operator):
    with open(sheet.heat.certificate.path, "wb") as file:
        file.write(b"%PDF-1.4 another")
    answer = sign_in(operator).get(reverse("certificate", args=[sheet.heat.pk]), follow=True)
    assert "no longer what was kept" in answer.content.decode()


@pytest.mark.parametrize("raw", [b"<html><script>", b"MZ\x90\x00", b""])
def test_what_is_no_certificate_is_refused(sheet, raw):
    heat = Heat.objects.create(number="Z", material=sheet.material)
    with pytest.raises(ValidationError):
        certificate_keep(heat=heat, raw=raw)


def test_a_page_that_poses_as_a_certificate_is_refused(sheet, sign_in, planner):
    heat = Heat.objects.create(number="Z", material=sheet.material)
    upload = SimpleUploadedFile("c.pdf", b"<script>alert(1)</script>", "application/pdf")
    url = reverse("heat", args=[heat.pk])
    assert (
        "is a PDF or a picture"
        in sign_in(planner).post(url, {"certificate": upload}).content.decode()
    )
    heat.refresh_from_db()
    assert not heat.certificate


def test_a_heat_opens_its_jobs_and_a_job_its_heats(
    run, remnant, nest, north, operator, job, sign_in
):
    """Forty from heat X and twenty from a remnant of Y, in the trade's own example; here two and
    five. Job to heat to certificate is two clicks, heat to job one."""
    second = Run.objects.create(
        revision=nest.revisions.get(), sheet=remnant, table=north, opened_at=AT, state="finished"
    )
    PartResult.objects.create(
        run=second, line=job.lines.get(), outcome="good", quantity=5, by=operator, at=AT
    )
    page = sign_in(operator)
    on_job = page.get(reverse("job", args=[job.pk]))
    assert on_job.context["heats"] == [
        ("H77", run.sheet.heat_id, 2),
        ("Y9", remnant.heat_id, 5),
    ]
    on_heat = page.get(reverse("heat", args=[remnant.heat_id]))
    assert reverse("certificate", args=[remnant.heat_id]) in on_heat.content.decode()
    assert on_heat.context["jobs"] == [(job.pk, "K-2284", 5, 0)]
    first = page.get(reverse("heat", args=[run.sheet.heat_id]))
    assert first.context["jobs"] == [(job.pk, "K-2284", 2, 1)]


def test_owed_is_what_is_not_good(run, job, sign_in, operator):
    """Five asked, two good, one scrap: three are owed, the scrapped one among them."""
    row = sign_in(operator).get(reverse("job", args=[job.pk])).context["lines"][0]
    assert (row.good, row.scrap, row.short) == (2, 1, 3)


def test_a_voided_run_is_no_trace(run, sign_in, operator):
    Run.objects.filter(pk=run.pk).update(state="voided")
    assert sign_in(operator).get(reverse("heat", args=[run.sheet.heat_id])).context["jobs"] == []


def test_receiving_in_inches_keeps_millimetres(steel, shop, sign_in, planner):
    sign_in(planner).post(
        reverse("stock_receive"),
        {"count": 1, "material": steel.pk, "thickness_text": "1/4 in", "length": "96",
         "width": "48", "unit": "in", "cost": "412.35"},
    )  # fmt: skip
    made = Sheet.objects.get()
    assert made.length_mm == pytest.approx(2438.4)
    assert made.width_mm == pytest.approx(1219.2)
    assert made.cost_minor == int(Decimal("412.35") * 100)


def test_those_who_may_not_see_prices_enter_none(steel, shop, sign_in, supervisor):
    sign_in(supervisor).post(
        reverse("stock_receive"),
        {"count": 1, "material": steel.pk, "thickness_text": "6 mm", "length": "1000",
         "width": "500", "unit": "mm", "cost": "1.00"},
    )  # fmt: skip
    assert Sheet.objects.get().cost_minor is None


@pytest.mark.parametrize(
    ("state", "why", "what"),
    [
        ("returned", "x", "nobody to return"),
        ("written_off", " ", "Say why"),
        ("cut", "x", "leaves"),
    ],
)
def test_a_sheet_leaves_stock_only_with_a_reason_and_a_right_state(sheet, state, why, what):
    with pytest.raises(ValidationError, match=what):
        sheet_leave(sheet=sheet, state=state, why=why)
