"""The calendar page and what it changes."""

from __future__ import annotations

from datetime import UTC, date, datetime, time, timedelta

import pytest
import time_machine
from django.core.exceptions import ValidationError
from django.urls import reverse

from planning.inputs.shifts import ShiftBook
from planning.inputs.table_time import clock_of
from planning.reports.measures import measures
from shopfloor.models import Change, ClosedDay, Run, Shift, Stoppage, TableDown
from shopfloor.site.calendar_services import (
    day_close,
    day_open,
    shift_added,
    shift_dropped,
    table_down,
    table_up,
)
from shopfloor.site.services import shift_add, shop_set

NOON = datetime(2026, 10, 14, 17, tzinfo=UTC)  # Wednesday 12:00 in Chicago


@pytest.fixture
def at_noon():
    with time_machine.travel(NOON, tick=False) as clock:
        yield clock


def staffed_h(table, first, days=1):
    book = ShiftBook(first, first + timedelta(days=days))
    clock = clock_of(book, table.code).from_now(first.timestamp())
    end = (first + timedelta(days=days)).timestamp()
    return clock.staffed(end) / 3600


def test_one_tap_puts_a_table_down_and_ends_follow(at_noon, north, south, sign_in, supervisor):
    page = sign_in(supervisor)
    shown = page.get(reverse("calendar")).content.decode()
    assert 'value="2026-10-16T12:00"' in shown, "two days are proposed"
    page.post(
        reverse("calendar_change"),
        {"which": "down", "down-table": "north", "down-until": "2026-10-16T12:00"},
    )
    [down] = TableDown.objects.all()
    assert (down.started_at, down.ended_at) == (NOON, NOON + timedelta(days=2))
    assert staffed_h(north, NOON, 3) == pytest.approx(24)  # three shifts a day, all round
    assert staffed_h(south, NOON, 3) == pytest.approx(72)
    assert "North is" in page.get(reverse("calendar")).content.decode()
    page.post(
        reverse("calendar_change"),
        {"which": "down", "down-table": "north", "down-until": "2026-10-15T12:00"},
    )
    assert TableDown.objects.get().ended_at == NOON + timedelta(days=1), "the same row, a new end"


@pytest.mark.parametrize(
    ("field", "values"),
    [
        ("until", {"until": NOON}),
        ("until", {"until": NOON + timedelta(days=400)}),
        ("start", {"start": NOON - timedelta(hours=2), "until": NOON + timedelta(hours=1)}),
    ],
)
def test_a_table_is_not_down_in_the_past_or_without_an_end(at_noon, north, field, values):
    with pytest.raises(ValidationError) as refused:
        table_down(table=north, **values)
    assert field in refused.value.message_dict
    assert not TableDown.objects.exists()


def test_up_again_keeps_what_passed_and_a_mistake_goes_whole(at_noon, north):
    down = table_down(table=north, until=NOON + timedelta(days=1))
    at_noon.shift(timedelta(minutes=90))
    with pytest.raises(ValidationError, match="over an hour"):
        table_up(down=down, mistake=True)
    table_up(down=down)
    assert TableDown.objects.get().ended_at == NOON + timedelta(minutes=90)
    with pytest.raises(ValidationError, match="over already"):
        table_up(down=down)
    again = table_down(table=north, until=NOON + timedelta(days=1))
    table_up(down=again, mistake=True)
    assert TableDown.objects.count() == 1
    assert Change.objects.filter(table="shopfloor_tabledown", operation="delete").count() == 1


def test_a_breakdown_counts_against_a_table_and_upkeep_does_not(at_noon, north, south):
    until = NOON + timedelta(hours=2)  # the shift that began at 06:00 ends then
    table_down(table=north, until=until, why="torch lifter")
    table_down(table=south, until=until, planned=True)
    at_noon.shift(timedelta(hours=4))
    day = date(2026, 10, 14)
    broken, kept = measures(first=day, last=day, now=NOON + timedelta(hours=2)).tables
    assert (broken.elements.pbt, broken.elements.adet) == (8, 2)
    assert (kept.elements.pbt, kept.elements.adet) == (6, 0)


def test_planned_upkeep_over_a_stop_nobody_explained_counts_once(at_noon, north):
    """Down as planned from 12:00 to 14:00, the end of the shift; a stop from 11:30 to 13:00 of
    which half an hour lies before."""
    table_down(table=north, until=NOON + timedelta(hours=2), planned=True)
    at_noon.shift(timedelta(hours=4))
    half = timedelta(minutes=30)
    Stoppage.objects.create(table=north, started_at=NOON - half, ended_at=NOON + 2 * half)
    day = date(2026, 10, 14)
    [kept] = measures(first=day, last=day, now=NOON + timedelta(hours=2)).tables
    assert (kept.elements.pbt, kept.elements.adet) == (6, 0.5)


HOURS = [NOON + timedelta(hours=n) for n in range(13)]


@pytest.mark.parametrize(
    ("before", "said", "rows"),
    [
        ([(4, 6, True)], (2, 8, False), [(2, 8, False)]),
        ([(4, 6, True)], (2, 8, True), [(2, 8, True)]),
        ([(4, 10, True)], (2, 8, False), [(2, 8, False), (8, 10, True)]),
        ([(2, 5, True), (6, 9, True)], (3, 8, False), [(2, 3, True), (3, 8, False), (8, 9, True)]),
        ([(2, 10, True)], (4, 6, False), [(2, 4, True), (4, 6, False), (6, 10, True)]),
        ([(2, 4, True), (6, 9, False)], (3, 8, True), [(2, 8, True), (8, 9, False)]),
        ([(2, 4, True)], (4, 6, False), [(2, 4, True), (4, 6, False)]),
    ],
)  # fmt: skip
def test_times_a_table_is_down_never_overlap(at_noon, north, before, said, rows):
    for start, end, planned in [*before, said]:
        table_down(table=north, start=HOURS[start], until=HOURS[end], planned=planned)
    found = TableDown.objects.order_by("started_at")
    assert [
        (HOURS.index(one.started_at), HOURS.index(one.ended_at), one.planned) for one in found
    ] == rows


def test_overtime_of_today_re_books_no_hours_of_runs_on_record(at_noon, run):
    Shift.objects.exclude(name="early").delete()  # 06:00 to 14:00
    Run.objects.update(opened_at=NOON - timedelta(hours=9), closed_at=NOON - timedelta(hours=8))
    today = date(2026, 10, 14)
    with pytest.raises(ValidationError) as refused:
        shift_added(day=today, name="overtime", start=time(0), end=time(6))
    assert refused.value.message_dict == {
        "start": ["Runs are on record since then: begin it at 12:00 or later."]
    }
    shift_added(day=today, name="overtime", start=time(4), end=time(6))  # the run was over at 04:00
    shift_added(day=today, name="evening", start=time(14), end=time(18))


def test_only_days_to_come_are_closed_and_overtime_is_held_on_them(at_noon, north):
    with pytest.raises(ValidationError):
        day_close(day=date(2026, 10, 14), why="today")
    closed = day_close(day=date(2026, 10, 17), why="stocktaking")
    saturday = datetime(2026, 10, 17, 11, tzinfo=UTC)  # 06:00, as the night of Friday ends
    assert staffed_h(north, saturday) == 0
    added = shift_added(day=date(2026, 10, 17), name="overtime", start=time(6), end=time(12))
    assert staffed_h(north, saturday) == 6
    shift_dropped(shift=added)
    day_open(closed=closed)
    assert staffed_h(north, saturday) == 24
    with pytest.raises(ValidationError, match="not taken away"):
        shift_dropped(shift=Shift.objects.get(name="early"))


def test_a_week_of_holidays_is_no_shop_without_shifts(at_noon, north):
    for day in range(15, 26):
        day_close(day=date(2026, 10, day), why="works holiday")
    book = ShiftBook(datetime(2026, 10, 20, tzinfo=UTC), datetime(2026, 10, 20, tzinfo=UTC))
    assert (book.spans, book.has_shifts) == ([], True)


def test_a_stretch_cut_short_by_a_table_down_still_ends_its_shift(at_noon, north):
    Shift.objects.exclude(name="early").delete()  # shifts that touch are one
    table_down(table=north, until=NOON + timedelta(hours=10))  # from 12:00 until 22:00
    clock = clock_of(ShiftBook(NOON, NOON), "north")
    ends = {float(end) for end in clock.ends[clock.ends_shift]}
    assert NOON.timestamp() in ends


def test_ticked_holidays_are_closed_and_others_are_not_taken(at_noon, north, sign_in, planner):
    shop_set(country="US")
    page = sign_in(planner)
    assert "Thanksgiving" in page.get(reverse("calendar")).content.decode()
    page.post(reverse("calendar_holidays"), {"day": ["2026-11-26", "2026-11-27", "x"]})
    assert list(ClosedDay.objects.values_list("day", "why")) == [
        (date(2026, 11, 26), "Thanksgiving Day")
    ]


def test_a_shift_does_not_begin_before_runs_that_are_on_record(at_noon, run):
    began = run.opened_at.date() - timedelta(days=1)
    assert began < date(2026, 10, 14)
    with pytest.raises(ValidationError, match="past days keep their calendar"):
        shift_add(
            name="extra", start=time(6), end=time(8), weekdays="1", breaks="", valid_from=began
        )


def test_an_operator_reads_the_calendar_and_changes_nothing(at_noon, north, sign_in, operator):
    page = sign_in(operator)
    shown = page.get(reverse("calendar")).content.decode()
    assert "Four weeks" in shown
    assert "calendar/change" not in shown
    table = page.get(reverse("calendar"), {"table": "Four weeks", "as": "csv"})
    assert len(table.content.decode().strip().splitlines()) == 29
