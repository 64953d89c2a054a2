"""The shop's own settings."""

from __future__ import annotations

from datetime import date, time

import pytest
from django.core.exceptions import ValidationError
from django.urls import reverse

from shopfloor.models import Reason, Shift, Shop
from shopfloor.site.services import reason_add, reason_retire, shift_add, shift_end, shop_set


@pytest.mark.django_db
def test_an_empty_shop_gets_its_one_row_and_a_zone_that_exists():
    shop_set(name="Brindle Weir Fabricating", zone="America/Denver")
    shop_set(name="Brindle Weir", zone="America/Chicago")
    assert list(Shop.objects.values_list("name", "zone")) == [("Brindle Weir", "America/Chicago")]
    with pytest.raises(ValidationError, match="not a time zone"):
        shop_set(zone="Chicago time")


def test_a_shift_of_the_same_name_takes_over_from_its_day(shop):
    made = shift_add(
        name="early", start=time(5, 30), end=time(13, 30), weekdays="54321",
        breaks="09:30 20 tea\n12:00 10", valid_from=date(2026, 10, 5),
    )  # fmt: skip
    before = Shift.objects.get(name="early", start=time(6))
    assert before.valid_to == date(2026, 10, 4)
    assert made.weekdays == "12345"
    assert made.breaks == [["09:30", 20, "tea"], ["12:00", 10, "break"]]


@pytest.mark.parametrize(
    ("field", "value"),
    [("weekdays", "1289"), ("weekdays", ""), ("breaks", "at nine"), ("breaks", "09:00 900 tea"),
     ("valid_from", date(2025, 12, 1))],
)  # fmt: skip
def test_a_shift_that_cannot_be_names_its_field(shop, field, value):
    values = {"name": "early", "start": time(6), "end": time(14), "weekdays": "12345"}
    values |= {"breaks": "", "valid_from": date(2026, 12, 1), field: value}
    with pytest.raises(ValidationError) as refused:
        shift_add(**values)
    assert field in refused.value.message_dict
    assert Shift.objects.filter(name="early").count() == 1


def test_a_shift_ends_on_a_day_not_before_it_began(shop):
    shift = Shift.objects.get(name="late")
    with pytest.raises(ValidationError):
        shift_end(shift=shift, last_day=date(2025, 12, 31))
    shift_end(shift=shift, last_day=date(2026, 10, 31))
    shift.refresh_from_db()
    assert shift.valid_to == date(2026, 10, 31)


@pytest.mark.django_db
def test_a_retired_reason_comes_back_by_its_words():
    reason = reason_add(label="Crane busy")
    reason_retire(reason=reason)
    assert not Reason.objects.get().active
    reason_add(label="crane busy", kind="planned")
    assert list(Reason.objects.values_list("code", "planned", "active")) == [
        ("crane-busy", True, True)
    ]


def test_a_shop_without_reasons_can_begin_with_the_usual_ones_twice(shop, sign_in, administrator):
    page = sign_in(administrator)
    for _ in range(2):
        page.post(reverse("reasons_usual"))
    assert Reason.objects.filter(active=True).count() == 10
    assert Reason.objects.filter(planned=True).count() == 3
    by_kind = Reason.objects.exclude(kind__in=("stoppage", "planned"))
    assert set(by_kind.values_list("label", "kind")) == {
        ("torch crash", "crash"),
        ("set change", "change"),
    }  # a shift change is no set-up time


def test_the_page_keeps_what_is_sent_and_says_what_is_wrong(shop, sign_in, administrator):
    page = sign_in(administrator)
    shift = {"which": "shift", "name": "weekend", "start": "08:00", "end": "12:00"}
    shift |= {"weekdays": "6", "valid_from": "2026-12-01", "breaks": "soon"}
    answer = page.post(reverse("shop"), shift)
    assert "give start, minutes and a word" in answer.content.decode()
    answer = page.post(reverse("shop"), {**shift, "breaks": ""})
    assert answer.status_code == 302
    assert Shift.objects.get(name="weekend").weekdays == "6"


def test_the_rules_are_changed_on_the_page(shop, sign_in, administrator):
    page = sign_in(administrator)
    rules = {"which": "rules", "name": "Weir", "zone": "Europe/Berlin", "currency": "EUR"}
    rules |= {"currency_digits": 2, "ask_reason_after_s": 240, "run_gap_s": 600}
    rules |= {"units": "metric", "pit_limit_mm": 1.5, "remnant_factor": 0.4}
    rules |= {"remnant_min_m2": 0.3, "scrap_kg": "0.22", "remnant_days": 90}
    assert page.post(reverse("shop"), rules).status_code == 302
    shop.refresh_from_db()
    assert (shop.zone, shop.run_gap_s, shop.pit_limit_mm) == ("Europe/Berlin", 600, 1.5)
    assert (shop.remnant_min_mm2, shop.scrap_minor_kg, shop.remnant_days) == (300_000, 22, 90)


def test_scrap_is_priced_by_the_pound_for_who_reads_inches(shop, sign_in, administrator):
    """A pound is 0.45359237 kg: 0.10 a lb is 0.2205 a kg, kept as 22 hundredths."""
    administrator.units = "inch"
    administrator.save()
    page, address = sign_in(administrator), reverse("shop")
    rules = page.get(address).context["rules"]
    assert rules.fields["scrap_kg"].label == "Scrap brings, a lb"
    told = {name: rules[name].value() for name in rules.fields} | {"which": "rules"}
    told = {name: value for name, value in told.items() if value is not None}
    assert page.post(address, told | {"scrap_kg": "0.10"}).status_code == 302
    shop.refresh_from_db()
    assert shop.scrap_minor_kg == 22
    Shop.objects.update(scrap_minor_kg=23)  # 10.43 hundredths a lb: shown as 0.10, and it stays 23
    again = page.get(address).context["rules"]
    assert str(again["scrap_kg"].value()) == "0.10"
    told |= {"scrap_kg": "0.10", "shown": page.get(address).context["shown"]}
    page.post(address, told | {"remnant_days": "91"})
    shop.refresh_from_db()
    assert (shop.scrap_minor_kg, shop.remnant_days) == (23, 91)
