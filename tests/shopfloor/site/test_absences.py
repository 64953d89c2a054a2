"""Somebody missing: a table with nobody does not run, and everything follows it."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta

import pytest
import time_machine
from django.core.exceptions import ValidationError
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from planning.inputs.past_work import PastWork
from planning.inputs.shifts import ShiftBook
from planning.reports.measures import measures
from shopfloor.models import Absence, Change, Shift
from shopfloor.site.calendar_services import absence_add, absence_end
from shopfloor.site.queries import shift_patterns
from tests.planning.promised import NOW as MONDAY
from tests.planning.promised import chance_of, work
from tests.shopfloor.site.test_calendar_page import NOON, staffed_h

DAY = date(2026, 10, 15)  # Thursday
MORNING = datetime(2026, 10, 15, 5, tzinfo=UTC)  # its midnight in Chicago


@pytest.fixture(autouse=True)
def at_noon():
    with time_machine.travel(NOON, tick=False) as clock:
        yield clock


def _away(person, *tables, first=DAY, last=DAY, **more):
    return absence_add(
        person=person, first=first, last=last, reason="sick",
        tables=[table.code for table in tables], **more,
    )  # fmt: skip


def test_where_nobody_is_missing_no_statement_is_spent_on_it(north, operator):
    _away(operator, north, stand_in=operator.__class__.objects.create(username="x"))
    with CaptureQueriesContext(connection) as found:
        assert not any(one.away for one in shift_patterns())
    before = len(found)
    Absence.objects.update(stand_in=None)
    with CaptureQueriesContext(connection) as found:
        assert any(one.away for one in shift_patterns())
    assert len(found) == before + 1


def test_a_table_with_nobody_does_not_run_on_that_day(north, south, operator):
    whole = staffed_h(north, MORNING, 3)
    _away(operator, north, shift="early")
    assert staffed_h(north, MORNING, 3) == pytest.approx(whole - 8)
    assert staffed_h(south, MORNING, 3) == pytest.approx(whole)
    _away(operator, north, first=DAY + timedelta(days=1), last=DAY + timedelta(days=1))
    early, day = 8, 24
    assert staffed_h(north, MORNING, 3) == pytest.approx(whole - early - day)


def test_a_stand_in_keeps_the_table_running(north, operator, supervisor):
    whole = staffed_h(north, MORNING, 2)
    _away(operator, north, stand_in=supervisor)
    assert staffed_h(north, MORNING, 2) == pytest.approx(whole)
    with pytest.raises(ValidationError, match="for themselves"):
        _away(operator, north, stand_in=operator)


def test_a_shift_that_there_is_not_is_refused(north, operator):
    with pytest.raises(ValidationError, match="no shift erly"):
        _away(operator, north, shift="erly")
    assert not Absence.objects.exists()


def test_one_person_is_not_missing_twice_at_one_table(north, south, operator, supervisor):
    days = {"first": DAY, "last": DAY + timedelta(days=2)}
    _away(operator, north, **days, shift="early")
    whole = staffed_h(north, MORNING, 3)
    for shift in ("early", ""):
        with pytest.raises(ValidationError, match=r"missing then already, from .*15 Oct"):
            _away(operator, north, last=DAY, shift=shift, stand_in=supervisor)
    _away(operator, north, shift="late", stand_in=supervisor)
    _away(operator, south, shift="early")
    _away(supervisor, north, shift="early")
    _away(operator, north, first=DAY + timedelta(days=3), last=DAY + timedelta(days=3))
    assert staffed_h(north, MORNING, 3) == pytest.approx(whole)


def test_where_no_shift_is_set_an_absence_would_change_nothing(north, operator):
    Shift.objects.update(valid_to=DAY - timedelta(days=1))
    with pytest.raises(ValidationError, match="No shift is set"):
        _away(operator, north, last=DAY + timedelta(days=3))
    assert not Absence.objects.exists()


def test_availability_does_not_count_a_shift_nobody_was_there_for(at_noon, north, south, operator):
    _away(operator, north, shift="early")
    at_noon.shift(timedelta(days=2))
    found = measures(first=DAY, last=DAY, now=NOON + timedelta(days=2)).tables
    north_s, south_s = (one.elements.pbt for one in found)
    assert south_s - north_s == pytest.approx(8)


@pytest.mark.django_db
def test_promises_follow(at_noon, shop, north, operator):
    Shift.objects.exclude(name="early").delete()
    at_noon.move_to(MONDAY)
    due = MONDAY + timedelta(days=1, hours=6)
    job = work(operator, north, sheets=8, listed=north, due=due)
    before = chance_of(job).chance
    _away(operator, north, first=date(2026, 10, 6), last=date(2026, 10, 6))
    assert chance_of(job).chance < before - 0.3


def test_past_days_keep_their_calendar(at_noon, north, operator):
    with pytest.raises(ValidationError, match="Past days"):
        _away(operator, north, first=DAY - timedelta(days=2))
    with pytest.raises(ValidationError, match="has begun"):
        _away(operator, north, first=DAY - timedelta(days=1))
    today = NOON.date()
    night = _away(operator, north, first=today, last=today, shift="night")
    assert night.first == today, "tonight is to come"
    long = _away(operator, north, last=DAY + timedelta(days=9))
    at_noon.shift(timedelta(days=3))
    absence_end(absence=long)
    long.refresh_from_db()
    assert (long.first, long.last) == (DAY, DAY + timedelta(days=2))
    with pytest.raises(ValidationError, match="over already"):
        absence_end(absence=night)
    later = _away(operator, north, first=DAY + timedelta(days=20), last=DAY + timedelta(days=20))
    absence_end(absence=later)
    assert not Absence.objects.filter(pk=later.pk).exists()


def test_a_replayed_morning_does_not_know_who_fell_ill_later(north, operator):
    at = NOON - timedelta(hours=2)
    Change.objects.update(at=at - timedelta(days=1))
    plain = PastWork(at, NOON).clocks(at)[north.pk].passed[-1]
    _away(operator, north)
    changes = Change.objects.filter(table="shopfloor_absence")
    changes.update(at=NOON)
    assert PastWork(at, NOON).clocks(at)[north.pk].passed[-1] == plain
    Change.objects.update(at=at - timedelta(hours=1))
    assert PastWork(at, NOON).clocks(at)[north.pk].passed[-1] == pytest.approx(plain - 24 * 3600)


def test_the_page_takes_it_and_names_people_to_planners_only(north, operator, supervisor, sign_in):
    page = sign_in(supervisor)
    page.post(
        reverse("calendar_change"),
        {"which": "away", "away-person": operator.pk, "away-first": "2026-10-15",
         "away-last": "2026-10-16", "away-reason": "sick", "away-tables": ["north"],
         "away-shift": "", "away-stand_in": ""},
    )  # fmt: skip
    away = Absence.objects.get()
    assert (away.person, away.first, away.last) == (operator, DAY, DAY + timedelta(days=1))
    shown = page.get(reverse("calendar")).content.decode()
    section = shown[shown.index("Somebody missing") : shown.index("Closed days")]
    assert operator.shown_name in section
    assert "Thu 15 Oct" in section
    other = sign_in(operator).get(reverse("calendar")).content.decode()
    told = other[other.index("Somebody missing") : other.index("Closed days")]
    assert operator.shown_name not in told
    assert "ill" not in told.split()
    sign_in(supervisor).post(reverse("calendar_back", args=[away.pk]))
    assert not Absence.objects.exists()


def test_why_somebody_is_missing_is_chosen_not_assumed(north, operator, supervisor, sign_in):
    page = sign_in(supervisor)
    shown = page.get(reverse("calendar")).content.decode()
    choices = shown[shown.index('name="away-reason"') :]
    assert '<option value="" selected' in choices[: choices.index("</select>")]
    page.post(
        reverse("calendar_change"),
        {"which": "away", "away-person": operator.pk, "away-first": "2026-10-15",
         "away-last": "2026-10-16", "away-reason": "", "away-tables": ["north"]},
    )  # fmt: skip
    assert not Absence.objects.exists()


def test_the_four_weeks_say_where_somebody_is_missing(north, south, operator, sign_in):
    _away(operator, north, shift="early")
    _away(operator, south, shift="late", stand_in=operator.__class__.objects.create(username="x"))
    page = sign_in(operator)
    rows = page.get(reverse("calendar"), {"table": "Four weeks", "as": "csv"}).content.decode()
    told = [row for row in rows.splitlines() if "missing" in row]
    assert len(told) == 1
    assert told[0].startswith("2026-10-15")
    assert told[0].count("missing") == 1


def test_nobody_entered_changes_nothing(north):
    assert all(not span.missing for span in ShiftBook(NOON, NOON + timedelta(days=3)).spans)
