"""The calendar as the office reads it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Final
from zoneinfo import ZoneInfo

from django.db.models import Q

from shopfloor.models import Absence, ClosedDay, Shift, Table, TableDown
from shopfloor.site.calendar import Down, ShiftSpan, day_span, shifts_between, staffed, unset_dates
from shopfloor.site.calendar_services import MISTAKE
from shopfloor.site.queries import downs_between, shift_patterns, shop_zone

DAYS: Final = 28


@dataclass(frozen=True, slots=True)
class AtTable:
    """One table on one date: its staffed hours, and what takes some away."""

    table: Table
    hours: float
    down: bool
    missing: bool  # nobody is at it in a shift, because somebody is away


@dataclass(frozen=True, slots=True)
class CalendarDay:
    day: date
    shifts: tuple[str, ...]
    closed: str
    all_day: bool  # the shop has set no shift for it
    tables: tuple[AtTable, ...]


def days_ahead(today: date, tables: Sequence[Table]) -> list[CalendarDay]:
    """The next four weeks, by the start dates of shifts."""
    zone = ZoneInfo(shop_zone())
    start = day_span(today, zone)[0]
    end = day_span(today + timedelta(days=DAYS - 1), zone)[1]
    patterns = shift_patterns()
    unset = set(unset_dates(patterns, today, today + timedelta(days=DAYS - 1)))
    spans = shifts_between(start, end, patterns, zone)
    spans += [ShiftSpan("", day, *day_span(day, zone), ()) for day in sorted(unset)]
    downs = downs_between(start, end + timedelta(days=1))
    closed = dict(ClosedDay.objects.filter(day__gte=today).values_list("day", "why"))
    dates = [today + timedelta(days=n) for n in range(DAYS)]
    return [
        CalendarDay(
            day,
            tuple(one.name for one in spans if one.date == day and one.name),
            closed.get(day, ""),
            day in unset,
            _at_tables([one for one in spans if one.date == day], downs, tables),
        )
        for day in dates
    ]


def _at_tables(
    spans: list[ShiftSpan], downs: list[Down], tables: Sequence[Table]
) -> tuple[AtTable, ...]:
    at_tables = []
    for table in tables:
        worked = staffed(spans, downs, table.code)
        took = sum((end - start for start, end in worked), timedelta())
        own = [one for one in spans if one.at_table(table.code)]
        down = any(
            one.table == table.code and one.start < span.end and one.end > span.start
            for one in downs
            for span in own
        )
        missing = any(
            table.code in one.missing and (not one.tables or table.code in one.tables)
            for one in spans
        )
        at_tables.append(AtTable(table, took.total_seconds() / 3600, down, missing))
    return tuple(at_tables)


@dataclass(frozen=True, slots=True)
class DownRow:
    down: TableDown
    begun: bool
    may_be_mistake: bool


def downs_to_come(now: datetime) -> list[DownRow]:
    """Tables down now or later."""
    rows = TableDown.objects.filter(ended_at__gt=now).select_related("table")
    return [
        DownRow(row, row.started_at <= now, now - row.started_at <= MISTAKE)
        for row in rows.order_by("started_at", "pk")
    ]


def closed_to_come(today: date) -> list[ClosedDay]:
    return list(ClosedDay.objects.filter(day__gte=today))


def absences_to_come(today: date) -> list[Absence]:
    rows = Absence.objects.filter(last__gte=today).select_related("person", "stand_in")
    return list(rows.order_by("first", "pk"))


def added_to_come(today: date) -> list[Shift]:
    return list(Shift.objects.filter(added=True, valid_from__gte=today).order_by("valid_from"))


def regular_now(today: date) -> list[Shift]:
    """Regular shifts that hold now or are to begin."""
    rows = Shift.objects.filter(added=False).filter(Q(valid_to=None) | Q(valid_to__gte=today))
    return list(rows.order_by("start", "valid_from"))
