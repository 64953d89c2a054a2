"""Promises as the worker keeps them: read while no record has changed, never once one has."""

from __future__ import annotations

from datetime import date, timedelta

import pytest
from django.urls import reverse

from dashboards.data import open_figure
from planning.reports import promise_kept
from planning.reports.promise import board
from planning.reports.promise_kept import KEPT_FOR, kept, shown, shown_of
from planning.services.nest_plan import nest_plan
from planning.services.promises_kept import promises_due, promises_keep
from shopfloor.models import (
    Change,
    Job,
    JobLine,
    JobState,
    NestPlan,
    NestRevision,
    PartResult,
    QueueItem,
    Shop,
    Summary,
    Table,
    TableTime,
    User,
)
from shopfloor.runs.arcs import to_us
from shopfloor.site.calendar_services import day_close, table_down
from tests.planning import cast
from tests.planning.fitted import fitted
from tests.planning.promised import NOW, work

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("monday")]
SECOND = timedelta(seconds=1)


@pytest.fixture
def some_work(days, north, operator):
    """A job in time, one that is late, one of which parts are on no sheet, and one without a plan;
    a closed day and a table that is down."""
    fitted(north, NOW)
    soon = work(operator, north, number="J-1", sheets=2, listed=north, due=NOW + timedelta(days=3))
    work(operator, north, number="J-2", sheets=18, due=NOW + timedelta(days=2))
    work(operator, number="J-3", sheets=1)
    short = work(operator, north, number="J-4", sheets=2)
    JobLine.objects.filter(job=short).update(quantity=5)
    day_close(day=date(2026, 10, 6), why="stocktaking")
    table_down(table=north, until=NOW + timedelta(hours=6))
    return soon


def test_what_is_kept_is_what_is_drawn(some_work):
    drawn = shown_of(board(NOW))
    assert {job.state for job in drawn.jobs} == {"in_time", "late", "unknown"}
    assert {day.note for day in drawn.loads[0].days} == {
        "table down",
        "stocktaking",
        "",
        "no shift",
    }
    promises_keep(now=NOW)
    assert kept(NOW + SECOND) == drawn
    assert shown(NOW + KEPT_FOR).at == NOW


def moved(job, **fields):
    Job.objects.filter(pk=job.pk).update(**fields)


def one_good(job):
    """Counted on Sunday, entered now."""
    revision = NestRevision.objects.earliest("pk")
    run = cast.run(revision, Table.objects.get(code="north"), start=NOW - timedelta(days=1))
    PartResult.objects.create(
        run=run, line=job.lines.get(), outcome="good", quantity=1, by=User.objects.first(), at=NOW
    )


CHANGES = {
    "a line wants more": lambda job: JobLine.objects.filter(job=job).update(quantity=3),
    "parts were counted late": lambda job: one_good(job),
    "the due date moved": lambda job: moved(job, due_at=NOW + timedelta(days=9)),
    "on hold": lambda job: moved(job, state=JobState.HELD),
    "renamed": lambda job: moved(job, title="other"),
    "the list's order": lambda job: QueueItem.objects.filter(position=0).update(position=9),
    "off the list": lambda job: QueueItem.objects.filter(position=0).delete(),
    "a closed day": lambda job: day_close(day=date(2026, 10, 7), why="fair"),
    "a fit": lambda job: TableTime.objects.update(computed_at=NOW + SECOND),
    "its widening": lambda job: TableTime.objects.update(scale=1.4),
    "a zone": lambda job: Shop.objects.update(zone="Europe/Berlin"),
    "a rate": lambda job: cast.rate("machine", 7777),
    "a plan": lambda job: nest_plan(key=str(NestRevision.objects.earliest("pk").pk), payload={}),
}


@pytest.mark.parametrize("change", CHANGES)
def test_nothing_is_read_that_was_kept_before_a_change(some_work, change):
    promises_keep(now=NOW)
    assert kept(NOW) is not None
    CHANGES[change](some_work)
    assert kept(NOW + SECOND) is None
    assert shown(NOW + 9 * SECOND) == shown_of(board(NOW + 9 * SECOND))
    assert promises_due(now=NOW + 30 * SECOND)
    assert kept(NOW + 31 * SECOND) == shown_of(board(NOW + 30 * SECOND))


def test_plans_that_only_go_away_leave_nothing_kept(some_work):
    """Then no newer plan is there to be seen."""
    promises_keep(now=NOW)
    nest_plan(key=str(NestRevision.objects.earliest("pk").pk), payload={})
    assert NestPlan.objects.count() < 3
    assert kept(NOW) is None


def test_a_change_numbered_early_and_committed_late_is_seen(some_work):
    """PostgreSQL numbers a row when it is written, others see it when it is committed."""
    early = Change.objects.order_by("-pk")[1]
    Change.objects.filter(pk=early.pk).delete()  # not committed yet
    promises_keep(now=NOW)
    assert kept(NOW) is not None
    early.save(force_insert=True)
    assert kept(NOW) is None


def test_a_change_while_it_is_drawn_is_not_taken_for_drawn(some_work, monkeypatch):
    def meanwhile(now):
        drawn = board(now)
        JobLine.objects.filter(job=some_work).update(quantity=3)
        return drawn

    monkeypatch.setattr("planning.services.promises_kept.board", meanwhile)
    promises_keep(now=NOW)
    assert kept(NOW) is None


def test_old_ones_and_those_of_a_clock_ahead_are_not_read(some_work):
    promises_keep(now=NOW)
    assert kept(NOW + KEPT_FOR + SECOND) is None
    assert kept(NOW - SECOND) is None


def test_the_worker_draws_where_something_changed_and_every_few_minutes(some_work):
    assert promises_due(now=NOW)
    assert not promises_due(now=NOW + 60 * SECOND)
    assert promises_due(now=NOW + 240 * SECOND)
    some_work.title = "other"
    some_work.save()
    assert not promises_due(now=NOW + 245 * SECOND)  # not more often than that
    assert promises_due(now=NOW + 280 * SECOND)
    Summary.objects.update(body={**Summary.objects.get().body, "took_s": 6.0})
    some_work.title = "third"
    some_work.save()
    assert not promises_due(now=NOW + 390 * SECOND)
    assert promises_due(now=NOW + 401 * SECOND)
    assert promises_due(now=NOW)  # the clock was set back


def test_the_page_draws_only_where_nothing_holds_that_was_kept(
    some_work, planner, client, monkeypatch
):
    drawn = []
    monkeypatch.setattr("dashboards.data.now", lambda: NOW + 7 * SECOND)
    monkeypatch.setattr(promise_kept, "board", lambda now: drawn.append(now) or board(now))
    client.force_login(planner)
    alone = _page(client)
    assert drawn == [NOW + 7 * SECOND]
    promises_keep(now=NOW + 7 * SECOND)
    assert _page(client) == alone
    assert len(drawn) == 1
    at_us = to_us(NOW + 7 * SECOND)  # as the page says it
    figure = open_figure("promise", f"{some_work.pk}@{at_us}")
    row = next(job for job in kept(NOW + 8 * SECOND).jobs if job.pk == some_work.pk)
    assert figure.quantity.value == row.percent
    QueueItem.objects.all().delete()
    _page(client)
    assert len(drawn) == 2


def _page(client):
    """Without the token of its form for signing out."""
    return client.get(reverse("promises")).content.decode().partition("<main")[2]
