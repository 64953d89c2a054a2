"""A list in pages is sorted whole, by every order that one of its heads offers."""

from __future__ import annotations

import re
from datetime import timedelta
from importlib import import_module

import pytest
from django.urls import reverse
from django.utils import timezone

from shopfloor.models import SecurityEvent

ORDER = re.compile(r'data-order="(\w+)"')


PAGES = (
    ("security", "people.office.security", "owner"),
    ("backups", "backup.office", "administrator"),
    ("chart", "chart.office.chart", "planner"),
    ("trials", "chart.office.trials", "planner"),
)


@pytest.mark.parametrize(("page", "module", "role"), PAGES)
def test_every_order_of_a_page_is_a_column_of_its_list(page, module, role, sign_in, request):
    client = sign_in(request.getfixturevalue(role))
    for order in import_module(f"shopfloor.{module}").SORTS:
        assert client.get(reverse(page), {"sort": f"-{order}"}).status_code == 200, order


def test_the_log_is_sorted_over_all_its_pages(sign_in, owner):
    """60 rows, the oldest with the highest count: it is on the second page, and comes first."""
    now = timezone.now()
    for number in range(60):
        at = now - timedelta(minutes=number)
        SecurityEvent.objects.create(
            kind="sign_in_failed", first_at=at, last_at=at, count=number + 1, address="10.0.0.9"
        )
    client = sign_in(owner)
    plain = client.get(reverse("security")).content.decode()
    asked = client.get(reverse("security"), {"sort": "-count"}).content.decode()
    assert '<td class="num">60</td>' not in plain
    counts = [int(each) for each in re.findall(r'<td class="num">(\d+)</td>', asked)]
    assert counts == sorted(counts, reverse=True)
    assert counts[0] == 60
    assert set(ORDER.findall(asked)) == {"last_at", "kind", "by", "address", "count"}
