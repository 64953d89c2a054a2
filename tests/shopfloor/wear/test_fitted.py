"""Which set was in a torch at a time, asked one by one and for many at once."""

from __future__ import annotations

from datetime import timedelta

import pytest

from shopfloor.wear import fitted
from shopfloor.wear.fitted import duties_fitted, set_fitted
from tests.planning import cast

pytestmark = pytest.mark.django_db
HOUR = timedelta(hours=1)


def test_many_at_once_are_told_as_one_by_one(
    north, operator, monkeypatch, django_assert_num_queries
):
    torch, since = north.torches.first(), cast.NOON
    for kind in ("electrode", "nozzle"):
        cast.fitting(cast.piece(kind), north, since, since + 2 * HOUR, by=operator)
    cast.fitting(cast.piece("shield"), north, since + HOUR, by=operator)
    asked = [(torch.pk, since + step * HOUR) for step in (-1, 0, 1, 2, 5)]
    asked.append((torch.pk + 1, since))
    monkeypatch.setattr(fitted, "MOST_ASKED", 4)
    with django_assert_num_queries(2):
        found = duties_fitted(asked)
    assert found == ["", "fast", "fast", "fast", "fast", ""]
    one_by_one = [set_fitted(torch, at) for _, at in asked[:5]]
    assert found[:5] == [each.duty if each else "" for each in one_by_one]
