"""A week by table and shift, against sums made by hand."""

from __future__ import annotations

from datetime import date, timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from planning.reports.glance import glance
from planning.services.run_figures import run_figures
from tests.planning import cast
from tests.planning.test_bounded_reads import scanned

pytestmark = pytest.mark.django_db
WEEK = date(2026, 10, 5), date(2026, 10, 11)
DAY = date(2026, 10, 6)
AFTER = cast.at(cast.NOON, 30 * 24 * 3600)


@pytest.fixture
def worked(north, operator):
    """A run of an hour from noon: three arcs of 600 s planned at 500 s each, and a stop of ten
    minutes nobody explained."""
    _, [line] = cast.job("J-1", due_at=cast.NOON)
    revision = cast.nest(operator, [(line, 1e4, 500)] * 3)
    run = cast.run(revision, north, operator=operator, plan=cast.plan([500] * 3))
    cast.arcs(run, [(1000 * n, 1000 * n + 600, n + 1) for n in range(3)])
    cast.stoppage(run, cast.at(cast.NOON, 2700), 600)
    run_figures(key=str(run.pk), payload={})
    return run


def _asked(persons=True):
    return glance(first=WEEK[0], last=WEEK[1], now=AFTER, persons=persons)


def test_a_shift_says_what_was_planned_worked_cut_and_stopped(worked, north, shop):
    cells = {(cell.day, cell.shift): cell for cell in _asked().days if cell.table == "North"}
    cell = cells[DAY, "early"]
    assert cell.worked_s == 3600
    assert cell.cut_s == 1800
    assert cell.pace == pytest.approx(1500 / 1800)
    assert (cell.stops, cell.stopped_s, len(cell.runs)) == (1, 600, 1)
    other = cells[DAY, "late"]
    assert (other.worked_s, other.stops) == (0, 0)
    days = [one for key, one in cells.items() if key[1] == "early"]
    [whole] = [one for one in _asked().sums if (one.table, one.shift) == ("North", "early")]
    assert whole.planned_s == sum(one.planned_s for one in days)
    assert whole.cut_s == 1800


def test_jobs_due_are_closed_in_time_late_or_still_owed(north):
    for number, closed in (("A", -1), ("B", 1), ("C", None)):
        job, _ = cast.job(number, due_at=cast.NOON)
        if closed:
            job.state, job.closed_at = "closed", cast.NOON + timedelta(hours=closed)
            job.save()
    [due] = _asked().due
    assert (due.day, due.due, due.in_time, due.late, due.owed) == (DAY, 3, 1, 1, 1)


def test_persons_are_read_only_for_who_may_see_them(worked):
    [person] = _asked().persons
    assert (person.name, person.runs, person.seconds) == ("Milo Brandt", 1, 3600)
    with CaptureQueriesContext(connection) as asked:
        assert _asked(persons=False).persons == []
    assert not [one for one in asked if "shopfloor_user" in one["sql"]]


@pytest.mark.skipif(connection.vendor != "sqlite", reason="the plans read here are SQLite's")
def test_no_table_that_grows_is_read_from_end_to_end(worked):
    with CaptureQueriesContext(connection) as asked:
        _asked()
    assert scanned(asked) == []
    assert len(asked) < 20
