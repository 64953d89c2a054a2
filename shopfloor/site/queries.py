"""The shop's own facts, read on nearly every page."""

from __future__ import annotations

from datetime import date, datetime
from zoneinfo import ZoneInfo

from shopfloor.models import Shift, Shop
from shopfloor.site.calendar import ShiftPattern, shift_at
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


def _patterns() -> list[ShiftPattern]:
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
        )
        for shift in Shift.objects.all()
    ]


def shift_date_of(moment: datetime) -> date:
    """The date a moment is booked on: the start date of the shift it falls in, so a night belongs
    to the evening it began. Outside any shift, the local calendar date."""
    zone = ZoneInfo(shop_zone())
    found = shift_at(moment, shift_patterns(), zone)
    return found.date if found else moment.astimezone(zone).date()
