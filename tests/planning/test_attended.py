"""Who stood at which table, from the floor's entries to what labour is posted: a person's minutes
are split over all they attend at once, and never sum to more than they were there. Our rule;
figures worked by hand."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.db.models import Sum

from planning.services.work import run_all_waiting
from shopfloor.models import Posting, Table
from tests.planning import cast
from tests.shopfloor.floor_shop import MINUTE, T0, Floor

RATE = 3000  # $30 an hour: 50 cents a minute


@pytest.fixture
def floor(north, south, operator):
    made = Floor(north, operator)
    cast.rate("labour", RATE)
    return made


def started(floor, name, at, table="north", **more):
    revision = floor.nest(name, lines=[floor.line(number=f"J-{name}")])
    item = floor.queue(revision)
    item.table = Table.objects.get(code=table)
    item.save()
    return floor.done("start", at, queue_item=item.pk, table=table, **more)["run"]


def labour(run):
    rows = Posting.objects.filter(run=run, kind="labour")
    found = rows.aggregate(minor=Sum("amount_minor"), seconds=Sum("quantity"))
    return found["minor"], (found["seconds"] or 0) / 60


def test_one_operator_on_two_tables_is_counted_once(floor):
    """North 0 to 60, South 20 to 50, one person: 30 min are shared, 15 each. North 30 + 15 = 45,
    South 15; together the 60 min they were there, and $30.00."""
    north = started(floor, "N", T0)
    south = started(floor, "S", T0 + 20 * MINUTE, "south")
    floor.done("finish", T0 + 50 * MINUTE, run=south, exceptions=[], table="south")
    floor.done("finish", T0 + 60 * MINUTE, run=north, exceptions=[])
    run_all_waiting()
    assert labour(north) == (2250, pytest.approx(45))
    assert labour(south) == (750, pytest.approx(15))


def test_two_operators_on_one_table_each_have_their_own(floor, supervisor):
    """Handed over at 20 of 60 min: both together are paid for the hour, no minute twice."""
    run = started(floor, "N", T0)
    floor.done("handover", T0 + 20 * MINUTE, person=supervisor)
    floor.done("finish", T0 + 60 * MINUTE, run=run, exceptions=[], person=supervisor)
    run_all_waiting()
    assert labour(run) == (3000, pytest.approx(60))
    operators = {
        segment.operator.username: (segment.ended_at - segment.started_at) / MINUTE
        for segment in run_of(run).segments.all()
    }
    assert operators == {"milo": 20, "dana": 40}


def test_the_second_operator_with_a_table_of_their_own(floor, supervisor):
    """Milo 0-20 on North; Dana takes it at 20 and starts South at 30, both end at 60. Dana: 10 min
    North alone, 30 shared. North 20 + 10 + 15 = 45, South 15: 20 of Milo's, 40 of Dana's."""
    north = started(floor, "N", T0)
    floor.done("handover", T0 + 20 * MINUTE, person=supervisor)
    south = started(floor, "S", T0 + 30 * MINUTE, "south", person=supervisor)
    for run, table in ((north, "north"), (south, "south")):
        at = T0 + 60 * MINUTE
        floor.done("finish", at, run=run, exceptions=[], person=supervisor, table=table)
    run_all_waiting()
    assert (labour(north)[1], labour(south)[1]) == (pytest.approx(45), pytest.approx(15))
    assert labour(north)[0] + labour(south)[0] == 3000


def test_a_run_found_out_later_takes_its_share_back(floor):
    """North alone was charged its 60 min; a South run of 20 to 50 comes in from a tablet that was
    without network, and the 15 min North had too many are taken back."""
    north = started(floor, "N", T0)
    floor.done("finish", T0 + 60 * MINUTE, run=north, exceptions=[])
    run_all_waiting()
    assert labour(north)[0] == 3000
    now = T0 + 90 * MINUTE
    south = started(floor, "S", T0 + 20 * MINUTE, "south", now=now)
    late = now + timedelta(seconds=1)
    floor.done("finish", T0 + 50 * MINUTE, run=south, exceptions=[], table="south", now=late)
    run_all_waiting()
    assert (labour(north)[0], labour(south)[0]) == (2250, 750)


def run_of(pk):
    from shopfloor.models import Run

    return Run.objects.get(pk=pk)
