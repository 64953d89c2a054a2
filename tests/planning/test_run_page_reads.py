"""What a run's page reads: nothing that grows with the years since, and no table twice."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from planning.inputs import runs
from planning.inputs.runs import load_runs
from planning.inputs.shifts import ShiftBook
from shopfloor.models import Change, PartResult, Run, Segment, Stoppage
from shopfloor.runs.run_page import run_changes
from tests.planning import cast

pytestmark = pytest.mark.django_db


@pytest.fixture
def old(north, operator):
    """A run of an hour, its stop of ten minutes half behind its last segment."""
    _job, [line] = cast.job()
    run = cast.run(cast.nest(operator, [(line, 1e4, 100)]), north)
    cast.stoppage(run, cast.at(cast.NOON, 3300), 600)
    return run


def test_shifts_of_an_old_run_are_laid_out_to_its_end_only(old, monkeypatch):
    laid = []

    def book(start, end):
        laid.append((start, end))
        return ShiftBook(start, end)

    monkeypatch.setattr(runs, "ShiftBook", book)
    now = cast.at(cast.NOON, 400 * 86_400)
    [found] = load_runs(Run.objects.all(), now=now)
    assert laid == [(old.opened_at, cast.at(cast.NOON, 3900))]
    book_to_now = ShiftBook(old.opened_at, now)
    [whole] = load_runs(Run.objects.all(), now=now, shifts=book_to_now)
    assert found == whole


def test_a_run_without_segments_and_stops_is_read_all_the_same(old):
    old.segments.all().delete()
    Stoppage.objects.all().delete()
    [found] = load_runs(Run.objects.all(), now=cast.at(cast.NOON, 7200))
    assert (found.run_id, found.segments) == (old.pk, ())


def test_a_stop_that_goes_on_is_seen_up_to_now(old):
    Stoppage.objects.filter(run=old).update(ended_at=None)
    now = cast.at(cast.NOON, 7200)
    [found] = load_runs(Run.objects.all(), now=now)
    [whole] = load_runs(Run.objects.all(), now=now, shifts=ShiftBook(old.opened_at, now))
    assert found.windows == whole.windows
    assert found.stoppages == whole.stoppages


def test_the_history_of_a_run_names_what_lies_beneath_it(old, operator):
    """Its segment, stop and part by their own tables, another run's rows left out."""
    [line] = old.revision.contours.values_list("line", flat=True)
    made = {"line_id": line, "by": operator, "at": old.opened_at, "outcome": "good"}
    PartResult.objects.create(run=old, quantity=1, **made)
    other = cast.run(old.revision, old.table, start=old.opened_at + timedelta(days=1))
    cast.stoppage(other, other.opened_at, 60)
    Segment.objects.filter(run=old).update(end_reason="set_change")
    with CaptureQueriesContext(connection) as asked:
        found = run_changes(str(old.pk))
    assert len(asked) == 2
    whats = sorted(one.what for one in found)
    assert whats == [
        "partresult made", "run made", "segment changed", "segment made", "stoppage made",
    ]  # fmt: skip
    assert Change.objects.filter(table="shopfloor_run").count() > 1
