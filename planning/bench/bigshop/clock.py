"""Time moved back by whole days of the shop's own wall clock, so that a shift that began at six
still does on the other side of a change of clocks."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

HOUR_US = 3_600_000_000
_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)


class Back:
    """Moves instants and dates back by `days`. Clocks change on the hour in UTC, so what an hour is
    moved by is worked out once."""

    def __init__(self, days: int, zone: ZoneInfo) -> None:
        self.days = timedelta(days=days)
        self.zone = zone
        self._moved: dict[int, int] = {}

    def us(self, at_us: int) -> int:
        hour = at_us // HOUR_US
        by = self._moved.get(hour)
        if by is None:
            by = self._moved[hour] = self._by(hour)
        return at_us - by

    def at(self, moment: datetime) -> datetime:
        if not self.days:
            return moment
        at_us = (moment - _EPOCH) // timedelta(microseconds=1)
        return moment - timedelta(microseconds=at_us - self.us(at_us))

    def day(self, day: date) -> date:
        return day - self.days

    def _by(self, hour: int) -> int:
        begun = _EPOCH + timedelta(hours=hour)
        wall = begun.astimezone(self.zone).replace(tzinfo=None) - self.days
        there = wall.replace(tzinfo=self.zone).astimezone(UTC)
        return (begun - there) // timedelta(microseconds=1)
