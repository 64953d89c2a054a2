"""When a backup is due and which of the older ones are kept. Pure: `now` is an argument."""

from __future__ import annotations

from collections.abc import Callable, Hashable, Sequence
from datetime import date, datetime, time, timedelta
from zoneinfo import ZoneInfo

from shopfloor.site.calendar import wall_to_utc


def due_at(now: datetime, at: time, zone: ZoneInfo) -> datetime:
    """The last instant up to `now` at which a backup was to be made."""
    day = now.astimezone(zone).date()
    today = wall_to_utc(day, at, zone)
    return today if today <= now else wall_to_utc(day - timedelta(days=1), at, zone)


def next_at(now: datetime, at: time, zone: ZoneInfo) -> datetime:
    """The first instant after `now`."""
    day = now.astimezone(zone).date()
    today = wall_to_utc(day, at, zone)
    return today if today > now else wall_to_utc(day + timedelta(days=1), at, zone)


def days_to_keep(days: Sequence[date], *, daily: int, weekly: int, monthly: int) -> set[int]:
    """Which copies stay, by their place in `days` (newest first): the newest of all, and the
    newest of each of the last days, ISO weeks and months that have one."""
    found = {0} if days else set()
    ways: list[tuple[int, Callable[[date], Hashable]]] = [
        (daily, lambda day: day),
        (weekly, lambda day: day.isocalendar()[:2]),
        (monthly, lambda day: (day.year, day.month)),
    ]
    for most, of in ways:
        newest: dict[Hashable, int] = {}
        for place, day in enumerate(days):
            newest.setdefault(of(day), place)
        found |= set(sorted(newest.values())[:most])
    return found
