"""Holidays of the United States by 5 U.S.C. 6103(a), and (b) with Executive Order 11582: one on a
Saturday is kept on the Friday before, one on a Sunday on the Monday after. Worked out here from the
words of the law."""

from __future__ import annotations

from datetime import date, timedelta

import pytest
from django.core.exceptions import ValidationError

from shopfloor.models import ClosedDay
from shopfloor.site.holidays import country_choices, offered, public_holidays, region_checked
from shopfloor.site.services import shop_set


def nth(year, month, weekday, n):
    """The n-th (from 1; -1: last) ISO weekday of a month."""
    days = [date(year, month, 1) + timedelta(days=k) for k in range(31)]
    found = [day for day in days if day.month == month and day.isoweekday() == weekday]
    return found[n - 1 if n > 0 else n]


def by_law(year):
    fixed = [(1, 1), (6, 19), (7, 4), (11, 11), (12, 25)]
    days = {date(year, month, day) for month, day in fixed}
    days |= {nth(year, 1, 1, 3), nth(year, 2, 1, 3), nth(year, 5, 1, -1), nth(year, 9, 1, 1),
             nth(year, 10, 1, 2), nth(year, 11, 4, 4)}  # fmt: skip
    moved = {6: -1, 7: 1}
    days |= {
        day + timedelta(days=moved[day.isoweekday()]) for day in days if day.isoweekday() in moved
    }
    return days


@pytest.mark.parametrize("year", range(2022, 2034))
def test_holidays_are_those_of_the_law(year):
    first, last = date(year, 1, 2), date(year, 12, 30)  # the eve of a year may belong to the next
    expected = {day for day in by_law(year) if first <= day <= last}
    assert {one.day for one in public_holidays("US", "", first, last)} == expected


@pytest.mark.django_db
def test_only_holidays_to_come_that_are_open_are_offered():
    shop = shop_set(name="Brindle Weir", zone="America/Chicago")
    assert offered(shop, date(2026, 11, 1)) == []  # no country named
    shop = shop_set(country="US")
    ClosedDay.objects.create(day=date(2026, 11, 26), why="Thanksgiving")
    days = [one.day for one in offered(shop, date(2026, 11, 11))]
    assert days[:2] == [date(2026, 12, 25), date(2027, 1, 1)]


def test_a_region_must_be_one_of_its_country():
    assert region_checked("US", " tx ") == "TX"
    assert region_checked("FR", "Zone A") == region_checked("FR", "zone a ") == "Zone A"
    assert region_checked("BR", "SÃO PAULO CAPITAL") == "São Paulo Capital"
    with pytest.raises(ValidationError, match="none of"):
        region_checked("US", "ZZ")
    with pytest.raises(ValidationError, match="leave it blank"):
        region_checked("FJ", "A")
    assert ("US", "United States") in country_choices()
