"""Shops that several tests of planning stand on."""

from __future__ import annotations

from datetime import timedelta

import pytest
import time_machine

from planning.services.run_figures import run_figures
from shopfloor.models import Shift
from tests.planning import cast
from tests.planning.promised import NOW


@pytest.fixture
def monday():
    with time_machine.travel(NOW, tick=False):
        yield


@pytest.fixture
def days(shop):
    """One shift, Monday to Friday 06:00 to 14:00."""
    Shift.objects.exclude(name="early").delete()
    Shift.objects.update(weekdays="12345")


@pytest.fixture
def a_shop(north, operator):
    """Two finished runs in October, with their postings."""
    cast.rate("machine", 9600)
    cast.rate("labour", 4800)
    _, [line] = cast.job("J-1", quantity=3)
    revision = cast.nest(operator, [(line, 1e5, 500)] * 3)
    for hour in (0, 2):
        start = cast.NOON + timedelta(hours=hour)
        made = cast.run(revision, north, start=start, operator=operator, plan=cast.plan([500] * 3))
        cast.arcs(made, [(100, 700, 1), (800, 1400, 2)], start=start)
        run_figures(key=str(made.pk), payload={})
    return revision
