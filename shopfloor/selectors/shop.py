"""The shop's own facts, read on nearly every page."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from datetime import date, datetime
from typing import Any, TypeVar
from zoneinfo import ZoneInfo

from shopfloor.calendar import ShiftPattern, shift_at
from shopfloor.models import Shift, Shop

T = TypeVar("T")
_read: ContextVar[dict[str, Any] | None] = ContextVar("shop facts read so far", default=None)


@contextmanager
def shop_read_once() -> Iterator[None]:
    """Within it shop and shifts are read once. For what only reads, such as one page: what is
    saved meanwhile is seen by the next."""
    if _read.get() is not None:
        yield
        return
    token = _read.set({})
    try:
        yield
    finally:
        _read.reset(token)


def _once(read: Callable[[], T]) -> T:
    kept = _read.get()
    if kept is None:
        return read()
    if read.__name__ not in kept:
        kept[read.__name__] = read()
    found: T = kept[read.__name__]
    return found


def the_shop() -> Shop:
    """The one row; an unsaved default where set-up has not happened yet."""
    return _once(_shop_row) or Shop(name="Your shop")


def shop_zone() -> str:
    return the_shop().zone or "America/Chicago"


def shift_patterns() -> list[ShiftPattern]:
    """Every shift pattern, as the pure calendar wants them."""
    return _once(_patterns)


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
