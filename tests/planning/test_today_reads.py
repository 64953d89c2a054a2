"""What a shift that is over reads: not what only a shift under way shows."""

from __future__ import annotations

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from planning.reports import today
from shopfloor.models import Table
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
