"""The shop's own facts, read on nearly every page."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date, datetime
from zoneinfo import ZoneInfo

from django.db.models import Exists

from shopfloor.models import Absence, ClosedDay, Shift, Shop, TableDown
from shopfloor.site.calendar import Away, Down, ShiftPattern, shift_at
from telemetry.read_once import once


def the_shop() -> Shop:
    """The one row; an unsaved default where set-up has not happened yet."""
    return once(_shop_row) or Shop(name="Your shop")


def shop_zone() -> str:
    return the_shop().zone or "America/Chicago"


def shift_patterns() -> list[ShiftPattern]:
    """Every shift pattern, as the pure calendar wants them."""
    return once(_patterns)


def _shop_row() -> Shop | None:
    return Shop.objects.order_by("pk").first()


def downs_between(start: datetime, end: datetime) -> list[Down]:
    """Time in which tables are down that overlaps [start, end), in order of its start."""
    rows = TableDown.objects.filter(ended_at__gt=start, started_at__lt=end)
    fields = "table__code", "started_at", "ended_at", "planned", "why"
    return [Down(*row) for row in rows.order_by("started_at", "pk").values_list(*fields)]


def _patterns() -> list[ShiftPattern]:
    days = ClosedDay.objects.values_list("day", flat=True)
    alone = Absence.objects.filter(stand_in=None)
    # Asked with the shifts, so that a shop where nobody is missing pays no statement for it.
    shifts = list(Shift.objects.annotate(missing=Exists(alone)))
    return patterns_of(shifts, days, alone if any(one.missing for one in shifts) else ())


def patterns_of(
    shifts: Iterable[Shift], days: Iterable[date], absences: Iterable[Absence]
) -> list[ShiftPattern]:
    """Shifts as the pure calendar wants them; `days` the shop is closed on."""
    closed = frozenset(days)
    away = [
        (one.shift, Away(one.first, one.last, frozenset(one.tables)))
        for one in absences
        if one.stand_in_id is None
    ]
    return [
        ShiftPattern(
            name=shift.name,
            start=shift.start,
            end=shift.end,
            weekdays=frozenset(int(day) for day in shift.weekdays),
            breaks=tuple(shift.breaks),
            valid_from=shift.valid_from,
            valid_to=shift.valid_to,
            tables=frozenset(shift.tables),
            closed=frozenset() if shift.added else closed,
            added=shift.added,
            away=tuple(one for name, one in away if name in ("", shift.name)),
        )
        for shift in shifts
    ]


def shift_date_of(moment: datetime) -> date:
    """The date a moment is booked on: the start date of the shift it falls in, so a night belongs
    to the evening it began. Outside any shift, the local calendar date."""
    zone = ZoneInfo(shop_zone())
    found = shift_at(moment, shift_patterns(), zone)
    return found.date if found else moment.astimezone(zone).date()
