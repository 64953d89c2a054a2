"""What the example shop did before it is opened: pure, without a database."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest

from shopfloor.demo.catalogue import DESIGNS
from shopfloor.demo.history import Table
from shopfloor.demo.orders import Order
from shopfloor.demo.rows import Expected, Lot
from shopfloor.site.calendar import ShiftSpan

ONE_OF_EACH_SET = {design.set: number for number, design in enumerate(DESIGNS)}
TODAY = datetime(2026, 11, 30, tzinfo=UTC)


def lived(seed, *, now, days=60):
    """South's shifts from 6:00 to 14:30, with sheets of 40 minutes and a change of set each."""
    spans = []
    for back in range(days, -1, -1):
        day = TODAY - timedelta(days=back)
        begin, end = day + timedelta(hours=6), day + timedelta(hours=14.5)
        spans.append(ShiftSpan("early", day.date(), begin, end, (), frozenset()))
    order = Order(1, "", ())
    lots = [Lot(order, 0, design, 1, "south") for design in ONE_OF_EACH_SET.values()] * (10 * days)
    plan = Expected((300.0,) * 8, 1.0, (10.0,) * 8)
    return Table("south", lots, lambda *_: plan, seed, now.timestamp()).live(spans)


@pytest.mark.parametrize("seed", range(5))
def test_no_stretch_ends_before_it_begins(seed):
    """A change of set late in a shift takes the rest of it."""
    runs = lived(seed, now=TODAY + timedelta(hours=12)).runs
    stretches = [one for run in runs for one in run.segments if one.ended is not None]
    assert len(stretches) > 300
    assert [one for one in stretches if one.ended < one.started] == []


@pytest.mark.parametrize("hour", [8.5, 9.25, 11, 13.5])
def test_whoever_opens_it_finds_arcs_of_this_morning_without_a_job(hour):
    """README's first hour has them given away."""
    now = TODAY + timedelta(hours=hour)
    morning = (TODAY + timedelta(hours=6)).timestamp()
    for seed in range(5):
        found = [run for run in lived(seed, now=now, days=3).runs if run.forgotten]
        assert [run.opened > morning for run in found].count(True) == 1
        assert all(run.closed is not None for run in found)
