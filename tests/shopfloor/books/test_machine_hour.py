"""An hour of a table, worked out on a page: the sum, its parts, and a rate only where asked."""

from __future__ import annotations

import html
import re

from django.urls import reverse

from shopfloor.models import Rate

# The worked example of tests/planning/calc/test_cost.py: 3,600 h; 1,050,000 to replace, 800,000
# paid; it prints 70.81 an hour.
TYPED = {
    "purchase": "800000", "replacement": "1050000", "life_years": "10", "hours": "3600",
    "interest": "15", "upkeep": "9000", "space": "8", "space_price": "20", "power_kw": "14",
    "power_price": "0.35", "tools": "17.53",
}  # fmt: skip


def test_the_published_example_comes_out_and_nothing_is_kept(shop, sign_in, owner):
    page = sign_in(owner)
    answer = page.post(reverse("machine_hour"), TYPED)
    shown = {row["label"]: row["value"] for row in answer.context["rows"]}
    assert list(shown.values()) == ["29.17", "16.67", "2.50", "4.90", "0.04", "17.53", "70.81"]
    assert shown["an hour"] == "70.81"
    assert "VDI 3258" in answer.content.decode()
    assert not Rate.objects.exists()


def test_the_sum_fills_the_form_of_a_rate_on_request(shop, sign_in, owner):
    page = sign_in(owner)
    text = html.unescape(page.post(reverse("machine_hour"), TYPED).content.decode())
    (address,) = re.findall(r'href="([^"]*amount=[^"]*)#new"', text)
    form = page.get(address).context["form"]
    assert (form["kind"].value(), form["amount"].value()) == ("machine", "70.81")
    assert not Rate.objects.exists()


def test_who_may_not_set_rates_gets_no_link(shop, sign_in, owner):
    from django.contrib.auth.models import Permission

    owner.groups.clear()
    owner.user_permissions.set(Permission.objects.filter(codename="see_cost"))
    answer = sign_in(owner).post(reverse("machine_hour"), TYPED)
    assert (answer.context["fill"], len(answer.context["rows"])) == ("", 7)


def test_what_is_left_blank_costs_nothing_and_a_life_of_none_is_refused(shop, sign_in, owner):
    page, least = sign_in(owner), {"purchase": "1000", "life_years": "10", "hours": "100"}
    rows = page.post(reverse("machine_hour"), least | {"interest": "0"}).context["rows"]
    assert [row["value"] for row in rows] == [
        "1.00",
        "0.00",
        "0.00",
        "0.00",
        "0.00",
        "0.00",
        "1.00",
    ]
    answer = page.post(reverse("machine_hour"), least | {"interest": "0", "life_years": "0"})
    assert "life_years" in answer.context["form"].errors
    assert answer.context["rows"] == []


def test_an_address_with_nonsense_leaves_the_form_empty_handed(shop, sign_in, owner):
    form = sign_in(owner).get(reverse("rates"), {"amount": "<b>", "kind": "x" * 99}).context["form"]
    assert len(form["kind"].value()) == 40
    assert not Rate.objects.exists()
