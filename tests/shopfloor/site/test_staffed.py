"""Staffed time by hand: Chicago 2026, clocks forward on 8 March and back on 1 November (IANA tz);
Lord Howe moves by half an hour on 5 April and 4 October."""

from __future__ import annotations

from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

import pytest

from shopfloor.site.calendar import Down, ShiftPattern, shifts_between, staffed

CHICAGO = ZoneInfo("America/Chicago")
EVERY = frozenset(range(1, 8))


def pattern(name, start, end, **more):
    breaks = more.pop("breaks", ())
    return ShiftPattern(name, start, end, EVERY, breaks, date(2026, 1, 1), **more)


def hours(spans, downs=(), table="north"):
    took = sum((end - start for start, end in staffed(spans, downs, table)), timedelta())
    return took.total_seconds() / 3600


def of_day(day, *patterns, zone=CHICAGO):
    noon = datetime(day.year, day.month, day.day, 12, tzinfo=zone)
    near = timedelta(days=1)
    return [
        one for one in shifts_between(noon - near, noon + near, patterns, zone) if one.date == day
    ]


@pytest.mark.parametrize(
    ("day", "zone", "expected"),
    [
        (date(2026, 3, 7), CHICAGO, 6.5),  # a night of 7 h less half an hour
        (date(2026, 10, 31), CHICAGO, 8.5),
        (date(2026, 6, 1), CHICAGO, 7.5),
        (date(2026, 10, 3), ZoneInfo("Australia/Lord_Howe"), 7.0),
        (date(2026, 4, 4), ZoneInfo("Australia/Lord_Howe"), 8.0),
    ],
)
def test_a_nights_staffed_hours_follow_the_clocks(day, zone, expected):
    night = pattern("night", time(22), time(6), breaks=(("00:30", 30, "meal"),))
    assert hours(of_day(day, night, zone=zone)) == expected


def test_a_table_down_loses_its_time_but_not_its_break_twice():
    day = pattern("day", time(6), time(14), breaks=(("10:00", 30, "break"),))
    spans = of_day(date(2026, 6, 1), day)  # 11:00 to 19:00 UTC, break 15:00 to 15:30
    down = Down("north", datetime(2026, 6, 1, 14, 45, tzinfo=UTC),
                datetime(2026, 6, 1, 16, tzinfo=UTC), False)  # fmt: skip
    assert hours(spans, [down]) == 8 - 1.25
    assert hours(spans, [down], "south") == 7.5
    assert staffed(spans, [down], "north") == [
        (spans[0].start, down.start),
        (down.end, spans[0].end),
    ]


def test_a_table_down_for_days_leaves_nothing_between():
    day = pattern("day", time(6), time(14))
    down = Down("north", datetime(2026, 5, 31, tzinfo=UTC), datetime(2026, 6, 2, tzinfo=UTC), True)
    assert staffed(of_day(date(2026, 6, 1), day), [down, down], "north") == []


def test_a_closed_day_takes_the_night_that_begins_on_it_and_no_other():
    night = pattern("night", time(22), time(6), closed=frozenset({date(2026, 6, 2)}))
    assert hours(of_day(date(2026, 6, 1), night)) == 8  # runs into the closed day, whole
    assert of_day(date(2026, 6, 2), night) == []


def test_overtime_that_touches_a_shift_is_one_stretch():
    day, more = pattern("day", time(6), time(14)), pattern("overtime", time(13), time(16))
    [(start, end)] = staffed(of_day(date(2026, 6, 1), day, more), [], "north")
    assert end - start == timedelta(hours=10)
