"""Odd requests that once failed, asked one by one."""

from __future__ import annotations

import random

import pytest

from planning.reports.openers import OPENERS
from shopfloor.models import Shop
from tests.fuzz import values
from tests.fuzz.addresses import real
from tests.fuzz.test_fuzz import asker, house, judged

__all__ = ["house"]
pytestmark = [pytest.mark.django_db, pytest.mark.long]

MOMENTS = ["1@0", "1@-62135596800000000", "1@253402300799999999", "1@9999999999999999999",
           "north@1", "1@", "@1", "1@1.5", "2@-9223372036854775808"]  # fmt: skip
DAYS = ["0001-01-01:fast", "9999-12-31:fast", "0001-01-01:planned", "9999-12-31:planned",
        "9999-12-31:unassigned", "0001-01-01:unassigned:North", "0001-01-01:unknown",
        "9999-12-01:1:wear", "9999-12-01:cutting:1", "9999-12-01:1:10:x",
        "0001-01-01:1:10:x"]  # fmt: skip


@pytest.mark.parametrize("zone", ["America/Chicago", "Pacific/Auckland"])
def test_no_figure_fails_at_the_ends_of_time(house, zone):
    Shop.objects.update(zone=zone)
    one = asker("owner", house["owner"], random.Random(1), real())
    chance = random.Random(2)
    for kind in OPENERS:
        for key in [*DAYS, *chance.sample([*values.KEYS, *MOMENTS], 9)]:
            one.send("GET", f"/figures/{kind}/{key}/")
    judged([one])


PAGES = {
    "/today/": ["day", "at", "first", "shift", "table"],
    "/today/strips/": ["day", "at"],
    "/today/arcs/": ["first", "last", "arcs"],
    "/cost/": ["month"],
    "/balance/": ["weeks", "from", "to"],
    "/balance/measures/": ["day", "from", "to", "month", "days", "table"],
    "/wear/": ["piece", "table", "torch"],
    "/jobs/": ["page", "q", "state", "order", "from", "to"],
    "/nests/": ["page", "q", "state", "order"],
    "/stock/": ["page", "q", "material", "from", "to"],
    "/find/": ["q"],
    "/jobs/list.csv": ["q", "from", "to"],
}


@pytest.mark.parametrize("zone", ["America/Chicago", "Pacific/Auckland"])
def test_no_page_fails_at_the_ends_of_time(house, zone):
    Shop.objects.update(zone=zone)
    one = asker("owner", house["owner"], random.Random(1), real())
    chance = random.Random(3)
    for path, names in PAGES.items():
        for name in names:
            for value in chance.sample([*values.DAYS, *values.NUMBERS, *MOMENTS[:3], "\0"], 7):
                one.send("GET", path, query={name: value})
    for year in ("0001-01", "9999-12", "2026-13", "0000-00"):
        one.send("GET", f"/cost/close/{year}/")
        one.send("POST", f"/cost/close/{year}/", data={})
    judged([one])
