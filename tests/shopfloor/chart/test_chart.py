"""Cut charts and rates: history is kept, faults are named."""

from __future__ import annotations

from datetime import UTC, date, datetime

import pytest
from django.core.exceptions import ValidationError
from django.core.files.uploadedfile import SimpleUploadedFile
from django.urls import reverse

from shopfloor.books.rates import rate_set
from shopfloor.chart.services import chart_apply, chart_plan
from shopfloor.models import ChartRow, Material, Rate, WearSet, Work

HEAD = b"set,duty,current_a,material,thickness_mm,speed_mm_min,pierce_delay_s\n"
CHART = HEAD + b"F120,fast,120,A36,6,3000,0.4\nF120,fast,120,A36,12,1400,0.9\n"
THEN = datetime(2026, 9, 1, tzinfo=UTC)
NOW = datetime(2026, 10, 1, tzinfo=UTC)


def test_a_first_chart_makes_its_sets_and_materials(shop):
    chart_apply(CHART, at=THEN, example=True, note="computed")
    assert list(WearSet.objects.values_list("code", "duty", "current_a")) == [("F120", "fast", 120)]
    assert Material.objects.get().family == "mild steel"
    assert ChartRow.objects.filter(valid_to=None, example=True).count() == 2


def test_a_change_ends_the_row_before_and_keeps_it(shop):
    chart_apply(CHART, at=THEN)
    plan = chart_apply(CHART.replace(b"3000", b"2800"), at=NOW)
    assert [change.kind for change in plan.changes] == ["changed", "same"]
    old, new = ChartRow.objects.filter(thickness_mm=6).order_by("valid_from")
    assert (old.speed_mm_min, old.valid_from, old.valid_to) == (3000, THEN, NOW)
    assert (new.speed_mm_min, new.valid_from, new.valid_to) == (2800, NOW, None)
    assert ChartRow.objects.filter(thickness_mm=12).count() == 1


def test_the_same_chart_again_changes_nothing(shop):
    chart_apply(CHART, at=THEN)
    assert chart_apply(CHART, at=NOW).writes == []
    assert ChartRow.objects.count() == 2


def test_a_changed_row_plans_the_nests_of_its_material_anew(nest, fast):
    Work.objects.all().delete()
    chart_apply(CHART, at=NOW)
    revision = nest.revisions.get()
    assert list(Work.objects.values_list("kind", "key")) == [("nest", str(revision.pk))]


def test_rows_the_shop_cannot_take_are_named(shop):
    raw = (
        CHART + b"X9,,,A36,6,1000,0.5\nF120,fast,120,moon rock,6,1000,0.5\nF120,fast,120,A36,6,1,\n"
    )
    faults = {fault.line: fault.message for fault in chart_plan(raw).faults}
    assert set(faults) == {4, 5, 6}
    assert "duty must be fine or fast" in faults[4]
    assert "moon rock is not known" in faults[5]


def test_a_chart_that_cannot_be_read_is_named_by_file_and_line(shop, sign_in, planner):
    upload = SimpleUploadedFile("mine.csv", HEAD + b"F120,fast,120,A36,thick,1,1\n")
    text = sign_in(planner).post(reverse("chart_import"), {"file": upload}).content.decode()
    assert "mine.csv:2: " in text
    assert not ChartRow.objects.exists()


def test_a_chart_goes_in_by_preview_and_confirmation(shop, sign_in, planner):
    page = sign_in(planner)
    shown = page.post(
        reverse("chart_import"), {"file": SimpleUploadedFile("mine.csv", CHART), "note": "trial"}
    )
    assert not ChartRow.objects.exists()
    page.post(reverse("chart_import_confirm"), shown.context["confirm"].initial)
    assert ChartRow.objects.filter(note="trial", example=False).count() == 2


def test_a_rate_follows_and_never_overwrites(shop):
    rate_set(kind="machine", amount_minor=9000, valid_from=date(2026, 1, 1))
    rate_set(kind="machine", amount_minor=9500, valid_from=date(2026, 7, 1))
    with pytest.raises(ValidationError, match="already"):
        rate_set(kind="machine", amount_minor=1, valid_from=date(2026, 7, 1))
    assert list(Rate.objects.values_list("amount_minor", flat=True)) == [9500, 9000]


def test_wages_are_only_for_those_who_may_see_them(shop, client, owner):
    from django.contrib.auth.models import Permission

    rate_set(kind="labour", amount_minor=3377, valid_from=date(2026, 1, 1))
    rate_set(kind="machine", amount_minor=9512, valid_from=date(2026, 1, 1))
    client.force_login(owner)
    assert "33.77" in client.get(reverse("rates")).content.decode()
    owner.groups.clear()
    owner.user_permissions.set(Permission.objects.filter(codename="see_cost"))
    text = client.get(reverse("rates")).content.decode()
    assert "95.12" in text
    assert "33.77" not in text
