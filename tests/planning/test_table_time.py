"""The fit of each table's time: kept in the background, read through one function."""

from __future__ import annotations

from datetime import timedelta

import numpy as np
import pytest
from django.utils import timezone

from planning.calc.ahead.book import now_at
from planning.calc.ahead.draws import Ahead, finishes
from planning.inputs.shifts import ShiftBook
from planning.inputs.stored_time import cell_of, kept_books, stored_books
from planning.inputs.table_time import clock_of, table_books
from planning.services.run_figures import run_figures
from planning.services.table_time import table_time_write, tables_freshen
from shopfloor.models import Shift, TableTime, Work
from tests.planning import cast

pytestmark = pytest.mark.django_db


def _runs(table, operator, *, many=8, over=1.5):
    """As many runs of 1,000 s by plan that took `over` times as long, one a shift-day."""
    revision = cast.nest(operator, [(None, 1e4, 100)] * 10)
    start = timezone.now().replace(hour=14, minute=0, second=0, microsecond=0)
    made = []
    for number in range(many):
        begun = start - timedelta(days=number + 1)
        plan = cast.plan([99] * 10, load_s=300.0)
        run = cast.run(revision, table, start=begun, seconds=2400, plan=plan)
        each = 100 * over
        cast.arcs(run, [(200 + each * n, 200 + each * (n + 1), n + 1) for n in range(10)],
                  start=begun)  # fmt: skip
        made.append(run)
    return made


def _wait(kind):
    return list(Work.objects.filter(kind=kind, state="waiting").values_list("key", flat=True))


def test_a_table_s_runs_are_learnt_and_read_back(north, operator):
    runs = _runs(north, operator)
    table_time_write(key=str(north.pk), payload={})
    stored = stored_books([north])[north.pk]
    assert stored.runs == len(runs)
    run = runs[0]
    cell = cell_of(cast.wear_set().pk, cast.material().pk, 6.0)
    assert list(stored.fit.cells) == [cell]
    now = timezone.now()
    clock = clock_of(ShiftBook(now, now + timedelta(days=10)), north.code)
    worlds = stored.worlds(now.timestamp(), clock)
    took = worlds.cutting(Ahead(1000.0, cell, run.revision.nest_id), 1000.0,
                          np.zeros(worlds.draws, dtype=int), worlds.level(0))  # fmt: skip
    assert 1350 < np.median(took) < 1650
    again = stored.worlds(now.timestamp(), clock)
    assert np.array_equal(
        *(finishes(one, [Ahead(1000.0, cell, 1)], clock).wall
          for one in (again, stored.worlds(now.timestamp(), clock)))
    )  # fmt: skip


def test_a_table_with_nothing_on_record_goes_by_what_its_page_says(north):
    north.load_s, north.unload_s = 1200.0, 900.0
    stored = stored_books([north])[north.pk]
    assert (stored.runs, stored.cut_off) == (0, None)
    assert kept_books([north.pk]) == {}
    now = timezone.now()
    clock = clock_of(ShiftBook(now, now), north.code)
    worlds = stored.worlds(now.timestamp(), clock)
    lengths = stored.fit.urns["load"].draw(worlds.chance, (4000, 1))
    assert 1050 < np.median(lengths) < 1350


def test_fits_are_asked_for_where_they_lag_but_not_at_every_closing(north, operator):
    [run] = _runs(north, operator, many=1)
    now = timezone.now()
    assert tables_freshen(now=now) == 1
    assert tables_freshen(now=now) == 1
    assert _wait("table_time") == [str(north.pk)]
    table_time_write(key=str(north.pk), payload={})
    assert tables_freshen(now=now) == 0
    run_figures(key=str(run.pk), payload={})
    assert tables_freshen(now=now) == 0  # fitted a moment ago
    assert tables_freshen(now=now + timedelta(minutes=11)) == 1
    table_time_write(key=str(north.pk), payload={})
    assert tables_freshen(now=now + timedelta(minutes=11)) == 0
    assert tables_freshen(now=now + timedelta(days=1)) == 1  # each night


def test_a_run_closed_while_a_fit_is_made_is_not_lost(north, operator, monkeypatch):
    from planning.services import table_time

    [run] = _runs(north, operator, many=1)
    table_time_write(key=str(north.pk), payload={})

    def closing(*args, **options):
        run_figures(key=str(run.pk), payload={})
        return table_time_read(*args, **options)

    table_time_read = table_time.table_books
    monkeypatch.setattr(table_time, "table_books", closing)
    table_time_write(key=str(north.pk), payload={})
    row = TableTime.objects.get(table=north)
    assert row.version == row.wanted - 1


def test_a_shop_without_shifts_learns_too(north, operator):
    Shift.objects.all().delete()
    _runs(north, operator, many=2)
    table_time_write(key=str(north.pk), payload={})
    assert stored_books([north])[north.pk].runs == 2


@pytest.mark.parametrize("going", [True, False])
def test_the_run_opened_last_alone_says_what_is_under_way(north, south, operator, going):
    """As all runs of the day do: on one table it goes on or is over, on the other it is over."""
    now = timezone.now()
    start = now - timedelta(hours=30)
    revision = cast.nest(operator, [(None, 1e4, 100)] * 10)
    for table, hours_ago, open_now in (
        (north, 4, False), (north, 1, going), (south, 3, False), (south, 2, False),
    ):  # fmt: skip
        begun = now - timedelta(hours=hours_ago)
        plan = cast.plan([99] * 10, load_s=300.0)
        run = cast.run(revision, table, start=begun, seconds=1800, plan=plan)
        cast.arcs(run, [(200, 300, 1), (400, 500, 2)], start=begun)
        if open_now:
            run.closed_at, run.state = None, "open"
            run.save()
    tables = [north, south]
    whole = table_books(tables, start, now, now + timedelta(days=3))
    last = table_books(tables, start, now, now + timedelta(days=3), last_only=True)
    assert [len(whole[table.pk].runs) for table in tables] == [2, 2]
    assert [len(last[table.pk].runs) for table in tables] == [1, 1]
    for table in tables:
        log, under_way = now_at(last[table.pk], now.timestamp())
        assert (log, under_way) == now_at(whole[table.pk], now.timestamp())
        assert last[table.pk].runs[-1].wear_set == whole[table.pk].runs[-1].wear_set
    assert (now_at(last[north.pk], now.timestamp())[0] is not None) == going
