"""Which runs a month's opened figures read."""

from __future__ import annotations

from contextlib import suppress
from datetime import date, timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from planning.reports.month_runs import month_run_ids
from shopfloor.models import RunDay, RunVariance
from tests.planning import cast
from tests.planning.said import open_figure
from tests.planning.test_reports import OCTOBER, shop_month

__all__ = ["shop_month"]
pytestmark = pytest.mark.django_db
NOVEMBER = date(2026, 11, 1)


def test_a_run_belongs_to_the_month_of_its_first_day(shop_month):
    """Gone on with in November it is October's still; what an earlier day is found of moves."""
    run = shop_month[3]
    [day] = RunDay.objects.filter(run=run)
    day.pk, day.shift_date = None, NOVEMBER
    day.save()
    assert set(month_run_ids(OCTOBER, NOVEMBER)) == {run.pk}
    assert set(month_run_ids(NOVEMBER, date(2026, 12, 1))) == set()
    day.pk, day.shift_date = None, OCTOBER - timedelta(days=1)
    day.save()
    assert set(month_run_ids(OCTOBER, NOVEMBER)) == set()
    assert set(month_run_ids(date(2026, 9, 1), OCTOBER)) == {run.pk}


def test_a_term_is_summed_of_the_runs_that_have_it(shop_month, north):
    """300 s of stoppages in the one run; another run of the month has none, a third has 60 s."""
    run = shop_month[3]
    [day] = RunDay.objects.filter(run=run)
    variance = RunVariance.objects.get(run=run)
    for number, terms in enumerate(({"waits": 40.0}, {"stoppages": 60.0}), start=1):
        other = cast.run(run.revision, north, start=cast.at(cast.NOON, 9000 * number))
        day.pk, day.run = None, other
        day.save()
        variance.pk, variance.run, variance.terms = None, other, terms
        variance.save()
    figure = open_figure(kind="month_term", id=f"{OCTOBER}:stoppages")
    assert figure.amount == pytest.approx(300 + 60)
    assert [row.value for row in figure.rows] == ["+5.0 min", "+1.0 min", "+6.0 min"]
    with pytest.raises(LookupError):
        open_figure(kind="month_term", id=f"{OCTOBER}:stop")


@pytest.mark.parametrize(
    ("kind", "key", "reads"),
    [("month_term", "stoppages", 1), ("month_plate", "MS:6:fast", 2), ("month_plate", "A:6:x", 1)],
)
def test_days_are_read_only_of_the_runs_shown(shop_month, kind, key, reads):
    """Once for which runs are the month's; a plate's own days tell its set. A term needs none, and
    of plate nobody burnt there are none."""
    with CaptureQueriesContext(connection) as asked, suppress(LookupError):
        open_figure(kind=kind, id=f"{OCTOBER}:{key}")
    days = [one["sql"] for one in asked if 'FROM "shopfloor_runday"' in one["sql"]]
    assert len(days) == reads
