"""The shop's shifts, laid out once for a stretch of time and then only looked up."""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterator
from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

from planning.calc.spans import Span, union
from shopfloor.runs.arcs import from_us, to_us
from shopfloor.site.calendar import ShiftSpan, day_span, shifts_between
from shopfloor.site.queries import shift_patterns, shop_zone


class ShiftBook:
    """Shifts from a day before `start` to a day after `end`. Two queries when made, none after."""

    def __init__(self, start: datetime, end: datetime) -> None:
        self.zone = ZoneInfo(shop_zone())
        self.first, self.last = start, end
        day = timedelta(days=1)
        self.spans = shifts_between(start - day, end + day, shift_patterns(), self.zone)
        self._starts = [to_us(span.start) for span in self.spans]
        self._ends = [to_us(span.end) for span in self.spans]
        self.worked: list[Span] = union(zip(self._starts, self._ends, strict=True))

    def worked_at(self, table: str) -> list[Span]:
        """Time somebody was scheduled at a table, by its code."""
        own = [span for span in self.spans if span.at_table(table)]
        return union((to_us(span.start), to_us(span.end)) for span in own)

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

    def by_date(self, span: Span) -> Iterator[tuple[date, int]]:
        """A stretch split where the date it is booked on changes: (date, microseconds), in order.
        Everything that sums time by shift date splits it here."""
        at_us, end_us = span
        while at_us < end_us:
            shift = self.at(at_us)
            until = min(to_us(shift.end) if shift else self._till_work(at_us), end_us)
            yield self.date_of(at_us), until - at_us
            at_us = until

    def _till_work(self, at_us: int) -> int:
        """The next shift's start or midnight, whichever comes first."""
        place = bisect_right(self._starts, at_us)
        midnight = to_us(day_span(from_us(at_us).astimezone(self.zone).date(), self.zone)[1])
        return min(self._starts[place], midnight) if place < len(self._starts) else midnight
