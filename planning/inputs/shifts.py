"""The shop's shifts, laid out once for a stretch of time and then only looked up."""

from __future__ import annotations

from bisect import bisect_right
from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

from planning.calc.spans import Span, union
from shopfloor.calendar import ShiftSpan, shifts_between
from shopfloor.selectors.arcs import from_us, to_us
from shopfloor.selectors.shop import shift_patterns, shop_zone


class ShiftBook:
    """Shifts from a day before `start` to a day after `end`. Two queries when made, none after."""

    def __init__(self, start: datetime, end: datetime) -> None:
        self.zone = ZoneInfo(shop_zone())
        day = timedelta(days=1)
        self.spans = shifts_between(start - day, end + day, shift_patterns(), self.zone)
        self._starts = [to_us(span.start) for span in self.spans]
        self._ends = [to_us(span.end) for span in self.spans]
        self.worked: list[Span] = union(zip(self._starts, self._ends, strict=True))

    def at(self, at_us: int) -> ShiftSpan | None:
        """The shift an instant falls in; of two that overlap, the one that began first."""
        place = bisect_right(self._starts, at_us)
        found = None
        for index in range(place - 1, max(-1, place - 5), -1):
            if self._ends[index] > at_us:
                found = self.spans[index]
        return found

    def date_of(self, at_us: int) -> date:
        """The date an instant is booked on: its shift's start date, else the local date."""
        found = self.at(at_us)
        return found.date if found else from_us(at_us).astimezone(self.zone).date()
