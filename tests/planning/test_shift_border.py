"""Time over a shift's border belongs to each shift for its own part, wherever it is summed."""

from __future__ import annotations

from datetime import UTC, date, datetime, time, timedelta

import pytest

from planning import reports
from planning.inputs.shifts import ShiftBook
from planning.services.run_figures import run_figures
from shopfloor.models import ArcAssignment, EnteredCount, Piece, RunDay, Shift
from shopfloor.runs.arcs import to_us
from telemetry.models import Rollup
from tests.planning import cast
from tests.planning.said import open_figure

pytestmark = pytest.mark.django_db
MON, TUE = date(2026, 10, 5), date(2026, 10, 6)
BORDER = datetime(2026, 10, 6, 11, 10, tzinfo=UTC)  # 06:10 in Chicago: within a quarter hour


@pytest.fixture
def shifts(north):
    """A night from Monday 22:00 to 06:10, then a day to 14:00."""
    Shift.objects.all().delete()
    days, since = "12345", date(2026, 1, 1)
    for name, start, end in (("night", time(22), time(6, 10)), ("day", time(6, 10), time(14))):
        Shift.objects.create(name=name, start=start, end=end, weekdays=days, valid_from=since)


def rollups(arcs):
    """Quarter-hour sums as intake makes them."""
    for arc in arcs:
        at = arc.on_us
        while at < arc.off_us:
            bucket = at - at % 900_000_000
            until = min(arc.off_us, bucket + 900_000_000)
            row, _ = Rollup.objects.get_or_create(
                feed=arc.feed, table=arc.table, torch=arc.torch, bucket_us=bucket,
                defaults={"burn_us": 0, "arcs": 0},
            )  # fmt: skip
            row.burn_us += until - at
            row.save()
            at = until


@pytest.fixture
def over(shifts, north, operator):
    """A run from 06:00 to 06:20 with one arc from 06:08 to 06:13: 2 min of the night, 3 of the
    day; of its 20 min the border gives 10 to each."""
    revision = cast.nest(operator, [(None, 1e4, 300)])
    start = BORDER - timedelta(minutes=10)
    run = cast.run(revision, north, start=start, seconds=1200, operator=operator)
    rollups(cast.arcs(run, [(480, 780, 1)], start=start))
    run_figures(key=str(run.pk), payload={})
    return run


def test_an_arc_and_a_run_are_split_at_the_border(over):
    rows = RunDay.objects.order_by("shift_date").values_list(
        "shift_date", "arcs", "arc_s", "elapsed_s"
    )
    assert list(rows) == [(MON, 1, 120.0, 600.0), (TUE, 0, 180.0, 600.0)]


def test_balance_counts_each_minute_once(over):
    found = reports.balance_days(first=MON, last=TUE)
    rows = [(row.day, row.duty, row.burnt_min) for row in found.itertuples()]
    assert rows == [(MON, "fast", 2.0), (TUE, "fast", 3.0)]


def test_loose_arcs_are_split_there_too_and_open_to_the_same_sum(over):
    ArcAssignment.objects.all().delete()
    run_figures(key=str(over.pk), payload={})
    found = reports.balance_days(first=MON, last=TUE)
    rows = [(row.day, row.burnt_min) for row in found.itertuples() if row.duty == "unassigned"]
    assert rows == [(MON, 2.0), (TUE, 3.0)]
    for day, seconds in ((MON, 120.0), (TUE, 180.0)):
        opened = open_figure(kind="day", id=f"{day}:unassigned")
        assert opened.amount == seconds


def test_an_entered_count_is_on_balance_with_the_set_of_its_time(over, north, operator):
    """10 min of burning entered for 05:30 to 06:50: half the time is the night's."""
    fine = cast.wear_set("fine-50", "fine", 50.0)
    of = cast.part("nozzle", the_set=fine)
    piece = Piece.objects.create(label="F-1", part=of, price_minor=1)
    cast.fitting(piece, north, BORDER - timedelta(days=1), by=operator)
    EnteredCount.objects.create(
        torch=north.torches.get(), started_at=BORDER - timedelta(minutes=40),
        ended_at=BORDER + timedelta(minutes=40), starts=5, arc_s=600.0, by=operator, at=BORDER,
    )  # fmt: skip
    found = reports.balance_days(first=MON, last=TUE)
    rows = [(row.day, row.duty, row.burnt_min) for row in found.itertuples()]
    assert rows == [
        (MON, "fast", 2.0), (MON, "fine", 5.0), (TUE, "fast", 3.0), (TUE, "fine", 5.0),
    ]  # fmt: skip
    assert found.attrs["coverage"].entered == 600.0
    opened = open_figure(kind="day", id=f"{MON}:fine")
    assert (opened.amount, opened.rows[0].evidence) == (300.0, "entered")


def test_between_shifts_the_date_changes_at_midnight(shifts):
    """Saturday 30 min before midnight to Sunday 15 min after; no shift is near."""
    book = ShiftBook(BORDER, BORDER + timedelta(days=7))
    midnight = to_us(datetime(2026, 10, 11, 5, tzinfo=UTC))
    parts = list(book.by_date((midnight - 1_800_000_000, midnight + 900_000_000)))
    assert parts == [(date(2026, 10, 10), 1_800_000_000), (date(2026, 10, 11), 900_000_000)]


def test_three_weeks_over_the_change_of_clocks_are_what_their_quarters_are(shifts, north):
    """Every whole quarter hour, added up by the date it lies on, one by one; in Chicago the clocks
    go back on 1 November. 17 s a quarter, and an odd one more in each third."""
    feed = cast.feed(north)
    first, last = date(2026, 10, 20), date(2026, 11, 9)
    book = ShiftBook(datetime(2026, 10, 19, tzinfo=UTC), datetime(2026, 11, 11, tzinfo=UTC))
    begun = to_us(datetime(2026, 10, 19, tzinfo=UTC))
    wanted: dict[date, int] = {}
    for number in range(23 * 96):
        at, us = begun + number * 900_000_000, 17_000_000 + number % 3
        days = {day for day, _ in book.by_date((at, at + 900_000_000))}
        if len(days) == 1:  # the others are told by their arcs, and there are none
            Rollup.objects.create(
                feed=feed, table=north.code, torch="1", bucket_us=at, burn_us=us, arcs=1
            )
            day = days.pop()
            wanted[day] = wanted.get(day, 0) + us
    found = reports.balance_days(first=first, last=last)
    assert {row.day: row.burnt_min for row in found.itertuples()} == pytest.approx(
        {day: us / 60e6 for day, us in wanted.items() if first <= day <= last}
    )
    assert len(found) == 21
