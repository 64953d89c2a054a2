"""Into which month an amount is posted, and how a difference is told. Sums by hand."""

from __future__ import annotations

from datetime import UTC, date, datetime

import pytest

from planning.services.postings import MonthPicker, TargetPosting, next_month, post_differences
from shopfloor.models import Month, Posting

pytestmark = pytest.mark.django_db

CLOSED = datetime(2027, 1, 5, tzinfo=UTC)


def sync(*wants, why=""):
    return post_differences(wants, Posting.objects.all(), months=MonthPicker(), why=why)


def want(amount, day=date(2026, 10, 31), **more):
    return TargetPosting("run:1:machine", "machine", amount, day, "measured", **more)


def test_after_closed_months_in_a_row_comes_the_first_open_one():
    for month in (10, 11, 12):
        Month.objects.create(first_day=date(2026, month, 1), closed_at=CLOSED)
    [made] = sync(want(500))
    assert made.month.first_day == date(2027, 1, 1)
    assert made.belongs_to.first_day == date(2026, 10, 1)
    assert made.shift_date == date(2026, 10, 31)


def test_an_open_month_between_closed_ones_takes_what_came_late():
    Month.objects.create(first_day=date(2026, 10, 1), closed_at=CLOSED)
    Month.objects.create(first_day=date(2026, 11, 1))
    Month.objects.create(first_day=date(2026, 12, 1), closed_at=CLOSED)
    [made] = sync(want(500))
    assert made.month.first_day == date(2026, 11, 1)


def test_an_open_month_takes_its_own_and_names_no_other():
    [made] = sync(want(500))
    assert (made.month.first_day, made.belongs_to) == (date(2026, 10, 1), None)


@pytest.mark.parametrize(
    ("day", "after"),
    [
        (date(2026, 1, 31), date(2026, 2, 1)),
        (date(2026, 11, 30), date(2026, 12, 1)),
        (date(2026, 12, 1), date(2027, 1, 1)),
    ],
)
def test_the_month_after(day, after):
    assert next_month(day) == after


def test_what_stands_already_is_not_posted_again():
    assert len(sync(want(500, quantity=2.0))) == 1
    assert sync(want(500, quantity=2.0)) == []


def test_only_the_difference_is_posted_and_says_so():
    sync(want(500, quantity=2.0))
    [made] = sync(want(620, quantity=2.5), why="rate")
    assert (made.key, made.amount_minor, made.quantity) == ("run:1:machine:v2", 120, 0.5)
    assert made.why == "rate"
    assert made.reverses is None


def test_what_is_no_longer_wanted_is_taken_back_once():
    [first] = sync(want(500, quantity=2.0))
    [back] = sync()
    assert (back.amount_minor, back.quantity, back.reverses) == (-500, -2.0, first)
    assert back.why == "no longer so"
    assert sync() == []


def test_taking_back_what_came_in_two_rows_reverses_neither():
    sync(want(500))
    sync(want(620))
    [back] = sync(want(0))
    assert (back.key, back.amount_minor, back.reverses) == ("run:1:machine:v3", -620, None)


def test_months_that_were_posted_into_are_told():
    months = MonthPicker()
    post_differences([want(500)], Posting.objects.all(), months=months)
    assert months.changed == {date(2026, 10, 1)}
