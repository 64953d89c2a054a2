"""Shift arithmetic on the two odd days of America/Chicago. Instants: IANA tz rules for 2026
(clocks go forward 8 March 08:00Z, back 1 November 07:00Z)."""

from __future__ import annotations

from datetime import UTC, date, datetime, time
from zoneinfo import ZoneInfo

import pytest

from shopfloor.site.calendar import (
    ShiftPattern,
    day_span,
    shift_at,
    shifts_between,
    span_of,
    wall_to_utc,
)

CHICAGO = ZoneInfo("America/Chicago")
NIGHT = ShiftPattern(
    "night", time(22), time(6), frozenset(range(1, 8)), (("02:30", 30, "supper"),), date(2026, 1, 1)
)
DAY = ShiftPattern(
    "day", time(6), time(14), frozenset(range(1, 8)), (("10:00", 15, "break"),), date(2026, 1, 1)
)


@pytest.mark.parametrize(
    ("day", "hours"),
    [(date(2026, 3, 8), 23), (date(2026, 11, 1), 25), (date(2026, 6, 1), 24)],
)
def test_a_day_is_as_long_as_the_clocks_make_it(day, hours):
    start, end = day_span(day, CHICAGO)
    assert (end - start).total_seconds() == hours * 3600


@pytest.mark.parametrize(
    ("day", "hours"),
    [(date(2026, 3, 7), 7), (date(2026, 10, 31), 9), (date(2026, 6, 1), 8)],
)
def test_a_night_is_as_long_as_the_time_that_passes(day, hours):
    assert span_of(NIGHT, day, CHICAGO).seconds == hours * 3600


def test_a_day_shift_stays_eight_hours_on_both_odd_days():
    for day in (date(2026, 3, 8), date(2026, 11, 1)):
        assert span_of(DAY, day, CHICAGO).seconds == 8 * 3600


def test_the_repeated_hour_means_the_first_and_the_missing_hour_moves_on():
    assert wall_to_utc(date(2026, 11, 1), time(1, 30), CHICAGO) == datetime(
        2026, 11, 1, 6, 30, tzinfo=UTC
    )
    assert wall_to_utc(date(2026, 3, 8), time(2, 30), CHICAGO) == datetime(
        2026, 3, 8, 8, 30, tzinfo=UTC
    )


def test_a_moment_after_midnight_belongs_to_the_evening_it_began():
    one_in_the_night = datetime(2026, 11, 1, 7, 10, tzinfo=UTC)  # 01:10 CST, clocks already back
    found = shift_at(one_in_the_night, [DAY, NIGHT], CHICAGO)
    assert (found.name, found.date) == ("night", date(2026, 10, 31))


def test_a_break_after_midnight_lies_on_the_next_date():
    (begun, ended, label) = span_of(NIGHT, date(2026, 6, 1), CHICAGO).breaks[0]
    assert begun == datetime(2026, 6, 2, 7, 30, tzinfo=UTC)
    assert (ended - begun).total_seconds() == 1800
    assert label == "supper"


def test_shifts_of_a_day_follow_each_other_without_overlap():
    start, end = day_span(date(2026, 6, 1), CHICAGO)
    spans = shifts_between(start, end, [NIGHT, DAY], CHICAGO)
    assert [(span.name, span.date.day) for span in spans] == [
        ("night", 31),
        ("day", 1),
        ("night", 1),
    ]


def test_no_shift_on_a_weekday_it_does_not_have():
    weekdays = ShiftPattern(
        "day", time(6), time(14), frozenset({1, 2, 3, 4, 5}), (), date(2026, 1, 1)
    )
    assert span_of(weekdays, date(2026, 6, 6), CHICAGO) is None  # a Saturday


ROUND = ShiftPattern(
    "whole day", time(6), time(6), frozenset(range(1, 8)), (("05:00", 30, "meal"),),
    date(2026, 1, 1),
)  # fmt: skip


@pytest.mark.parametrize(
    ("day", "hours"),
    [(date(2026, 6, 1), 24), (date(2026, 3, 7), 23), (date(2026, 10, 31), 25)],
)
def test_a_shift_that_ends_when_it_starts_lasts_the_whole_day(day, hours):
    found = span_of(ROUND, day, CHICAGO)
    assert found.seconds == hours * 3600
    assert found.start <= found.breaks[0][0] < found.breaks[0][1] <= found.end


def test_whole_days_follow_each_other_and_each_instant_is_in_one():
    start, end = day_span(date(2026, 6, 1), CHICAGO)
    spans = shifts_between(start, end, [ROUND], CHICAGO)
    assert [span.date.day for span in spans] == [31, 1]
    assert spans[0].end == spans[1].start
    assert shift_at(spans[1].start, [ROUND], CHICAGO).date == date(2026, 6, 1)


def test_a_pattern_holds_on_its_first_and_its_last_day():
    week = ShiftPattern(
        "day", time(6), time(14), frozenset(range(1, 8)), (), date(2026, 6, 2), date(2026, 6, 4)
    )
    held = [day for day in range(1, 7) if span_of(week, date(2026, 6, day), CHICAGO)]
    assert held == [2, 3, 4]


def test_a_shift_holds_its_first_instant_and_not_its_end():
    start, end = datetime(2026, 6, 1, 11, tzinfo=UTC), datetime(2026, 6, 1, 19, tzinfo=UTC)
    assert shifts_between(end, end.replace(hour=20), [DAY], CHICAGO) == []
    assert shifts_between(start.replace(hour=10), start, [DAY], CHICAGO) == []
    [found] = shifts_between(start, end, [DAY], CHICAGO)
    assert (found.start, found.end) == (start, end)


def test_of_two_shifts_at_once_the_first_begun_holds():
    late = ShiftPattern("late", time(13), time(21), frozenset(range(1, 8)), (), date(2026, 1, 1))
    half_past_one = datetime(2026, 6, 1, 18, 30, tzinfo=UTC)
    assert shift_at(half_past_one, [late, DAY], CHICAGO).name == "day"
