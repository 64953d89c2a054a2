"""When a table is at work: one rule for the runs, Today, routes, the balance and the promises."""

from __future__ import annotations

from datetime import UTC, date, datetime, time, timedelta

import pytest
import time_machine
from django.urls import reverse

from planning.inputs.runs import load_runs
from planning.inputs.shifts import ShiftBook
from planning.inputs.table_time import clock_of
from planning.reports.measures import measures
from planning.reports.today import at_table, window_at
from shopfloor.models import Run, Shift, Stoppage, TableDown
from shopfloor.runs.arcs import to_us
from shopfloor.runs.silences import silences_at_work
from shopfloor.site.calendar_queries import days_ahead
from shopfloor.site.calendar_services import shift_added
from tests.planning import cast

pytestmark = pytest.mark.django_db
NOW = datetime(2026, 10, 14, 17, tzinfo=UTC)  # Wednesday 12:00 in Chicago
HOUR = timedelta(hours=1)


@pytest.fixture(autouse=True)
def _noon():
    with time_machine.travel(NOW, tick=False):
        yield


@pytest.fixture
def without(shop):
    """A shop that has set no shifts."""
    Shift.objects.all().delete()


def early(tables=(), **more):
    return Shift.objects.create(
        name="early", start=time(6), end=time(14), weekdays="1234567", breaks=[],
        tables=list(tables), **{"valid_from": date(2026, 1, 1)} | more,
    )  # fmt: skip


def staffed_h(table, days, start=NOW):
    """Hours from a moment on that the table is at work, three ways."""
    book = ShiftBook(start, start + timedelta(days=days))
    end = start + timedelta(days=days)
    clock = clock_of(book, table.code).from_now(start.timestamp())
    low, high = to_us(start), to_us(end)
    opened = sum(max(min(b, high) - max(a, low), 0) for a, b in book.open_at(table.code))
    assert clock.staffed(end.timestamp()) * 1e6 == pytest.approx(opened)
    return opened / 3.6e9


def test_first_shifts_take_no_stop_from_the_runs_of_the_days_before(without, north, operator):
    """A run that stood for 2 h behind its last arc, two days before the shop set shifts."""
    _job, [line] = cast.job()
    revision = cast.nest(operator, [(line, 1e4, 100)])
    begun = NOW - timedelta(days=2, hours=-9)  # 21:00, in no shift to come
    run = cast.run(revision, north, start=begun, seconds=3600)
    Stoppage.objects.create(
        table=north,
        run=run,
        started_at=begun + HOUR,
        ended_at=begun + 3 * HOUR,
    )
    [before] = load_runs(Run.objects.all(), now=NOW)
    early(valid_from=NOW.date())
    assert load_runs(Run.objects.all(), now=NOW)[0].windows == before.windows
    book = ShiftBook(begun, begun + 3 * HOUR)
    [alone] = load_runs(Run.objects.all(), now=NOW, shifts=book)
    assert alone.windows == before.windows
    assert before.windows[-1][1] == to_us(begun + 3 * HOUR)


def test_one_overtime_shift_makes_no_shop_with_shifts(without, north):
    shift_added(day=date(2026, 10, 20), name="overtime", start=time(18), end=time(20))
    assert staffed_h(north, 14) == 14 * 24
    assert not ShiftBook(NOW, NOW + timedelta(days=14)).has_shifts
    day, late = date(2026, 10, 20), NOW + timedelta(days=10)
    assert measures(first=day, last=day, now=late).tables[0].elements.pbt is None


def test_one_overtime_shift_hides_no_silence_of_a_source(without, north):
    cast.feed(north)  # that has told nothing
    low, high = to_us(NOW - 2 * HOUR), to_us(NOW - HOUR)
    assert silences_at_work(north, low, high, NOW) == [(low, high)]
    shift_added(day=date(2026, 10, 20), name="overtime", start=time(18), end=time(20))
    assert silences_at_work(north, low, high, NOW) == [(low, high)]
    early(valid_from=date(2026, 10, 14))
    night = to_us(NOW - 8 * HOUR)  # 04:00, two hours before the shift begins
    assert silences_at_work(north, night, high, NOW) == [(to_us(NOW - 6 * HOUR), high)]


def test_a_day_is_whole_until_the_first_shift_is_set(without, north):
    early(valid_from=date(2026, 10, 16))
    # Wednesday 12 h, Thursday 24 h, Friday to Tuesday 8 h each
    assert staffed_h(north, 7) == 12 + 24 + 5 * 8 + 6  # and Wednesday 06:00 to 12:00


def test_a_table_down_is_down_in_a_shop_without_shifts_too(without, north):
    TableDown.objects.create(
        table=north, started_at=NOW - HOUR, ended_at=NOW + timedelta(days=2), planned=False
    )
    assert staffed_h(north, 3) == 24
    book = ShiftBook(NOW, NOW)
    [closed] = at_table(window_at(book, NOW), book, "north").closed
    assert closed == (to_us(NOW - HOUR), to_us(NOW + 12 * HOUR))  # midnight in Chicago
    today, _thursday, friday = (day.tables[0].hours for day in days_ahead(NOW.date(), [north])[:3])
    assert (today, friday) == (11, 12)


def test_the_calendar_says_which_days_are_whole(without, north, client, planner):
    client.force_login(planner)
    shown = client.get(reverse("calendar")).content.decode()
    assert shown.count("<td>all day</td>") == 28
    early()
    assert "<td>all day</td>" not in client.get(reverse("calendar")).content.decode()


def test_a_table_no_shift_names_is_scheduled_nowhere(without, north, south):
    early(tables=["north"])
    assert (staffed_h(north, 1), staffed_h(south, 1)) == (8, 0)
    book = ShiftBook(NOW, NOW)
    window = at_table(window_at(book, NOW), book, "south")
    assert window.closed == ((window.start_us, window.end_us),)
    [_north, there] = days_ahead(NOW.date(), [north, south])[0].tables
    assert there.hours == 0
