"""When a backup is due and which copies stay; expected days by hand or the slow way."""

from __future__ import annotations

from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

from hypothesis import given
from hypothesis import strategies as st

from shopfloor.backup.rotation import days_to_keep, due_at, next_at

CHICAGO = ZoneInfo("America/Chicago")


def test_a_year_of_days_thins_to_days_weeks_and_months():
    first = date(2026, 11, 30)  # a Monday
    days = [first - timedelta(days=n) for n in range(400)]
    stay = sorted(days[n] for n in days_to_keep(days, daily=7, weekly=4, monthly=3))
    assert stay == [
        date(2026, 9, 30),  # the newest of September
        date(2026, 10, 31),  # of October; November's is today
        date(2026, 11, 15),  # the Sunday that ends the third week back
        date(2026, 11, 22),
        *[date(2026, 11, day) for day in range(24, 31)],
    ]


@given(
    st.lists(st.integers(0, 700), max_size=60).map(
        lambda ago: [date(2026, 1, 1) - timedelta(days=n) for n in sorted(ago)]
    ),
    st.integers(1, 9),
    st.integers(0, 9),
    st.integers(0, 9),
)
def test_what_stays_is_the_newest_of_each_of_the_last(days, daily, weekly, monthly):
    stay = days_to_keep(days, daily=daily, weekly=weekly, monthly=monthly)
    wanted = set(days[:1])
    for most, form in ((daily, "%Y-%m-%d"), (weekly, "%G-%V"), (monthly, "%Y-%m")):
        spans = sorted({day.strftime(form) for day in days}, reverse=True)[:most]
        wanted |= {max(day for day in days if day.strftime(form) == span) for span in spans}
    assert {days[n] for n in stay} == wanted
    assert len(stay) == len(wanted)


def test_it_is_due_at_its_time_on_the_shops_clock():
    noon = datetime(2026, 11, 30, 18, tzinfo=UTC)  # 12:00 in Chicago
    assert due_at(noon, time(3), CHICAGO) == datetime(2026, 11, 30, 9, tzinfo=UTC)
    assert next_at(noon, time(3), CHICAGO) == datetime(2026, 12, 1, 9, tzinfo=UTC)
    early = datetime(2026, 11, 30, 8, 59, tzinfo=UTC)
    assert due_at(early, time(3), CHICAGO) == datetime(2026, 11, 29, 9, tzinfo=UTC)
    assert next_at(early, time(3), CHICAGO) == datetime(2026, 11, 30, 9, tzinfo=UTC)


def test_a_night_whose_hour_is_left_out_has_its_backup():
    """02:30 does not exist on 8 March 2026 in Chicago: it is made an hour later, at 03:30 there."""
    noon = datetime(2026, 3, 8, 17, tzinfo=UTC)
    assert due_at(noon, time(2, 30), CHICAGO) == datetime(2026, 3, 8, 8, 30, tzinfo=UTC)
