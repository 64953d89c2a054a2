"""What a shift that is over reads: not what only a shift under way shows."""

from __future__ import annotations

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from planning.reports import today
from shopfloor.models import Piece, Table
from tests.planning import cast

pytestmark = pytest.mark.django_db


@pytest.fixture
def run(north, operator):
    """The only active table ran for an hour."""
    Table.objects.exclude(pk=north.pk).update(active=False)
    _job, [line] = cast.job()
    return cast.run(cast.nest(operator, [(line, 1e4, 100)]), north)


def asked_of(table, **more):
    with CaptureQueriesContext(connection) as asked:
        found = today(now=cast.at(cast.NOON, 3000), **more)
    return found, [one["sql"] for one in asked if f'FROM "{table}"' in one["sql"]]


def test_the_set_is_told_by_the_runs_where_every_table_ran(run):
    found, asked = asked_of("shopfloor_fitting", over=True)
    assert [one.label for one in found.tables[0].strip.sets] == ["fast 130 A"]
    assert asked == []
    run.segments.all().delete()
    _found, asked = asked_of("shopfloor_fitting", over=True)
    assert len(asked) == 1


def test_contours_are_counted_of_a_run_that_goes_on_only(run):
    assert asked_of("shopfloor_contour", over=True)[1] == []
    run.state, run.closed_at = "open", None
    run.save()
    found, asked = asked_of("shopfloor_contour", over=True)
    assert len(asked) == 1
    now = found.tables[0].current
    assert (now.contours, now.jobs) == (1, ("J-1",))


def test_of_a_past_shift_without_runs_the_set_is_the_one_fitted_then(north, operator):
    """A fast set until the day after, a fine one since."""
    Table.objects.exclude(pk=north.pk).update(active=False)
    changed = cast.at(cast.NOON, 86_400)
    cast.fitting(cast.piece(), north, cast.at(cast.NOON, -7200), changed, by=operator, state="worn")
    fine = cast.wear_set("fine-50", "fine", 50.0)
    part = cast.part(the_set=fine)
    cast.fitting(
        Piece.objects.create(label="F-1", part=part, price_minor=900), north, changed, by=operator
    )
    for later, label in ((3000, "fast 130 A"), (86_400 + 3000, "fine 50 A")):
        [row] = today(now=cast.at(cast.NOON, later), over=True).tables
        assert [one.label for one in row.strip.sets] == [label]
