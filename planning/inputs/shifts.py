"""The shop's shifts, laid out once for a stretch of time and then only looked up."""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterator, Sequence
from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

from planning.calc.spans import Span, subtract, union
from shopfloor.runs.arcs import from_us, to_us
from shopfloor.site.calendar import (
    Down,
    ShiftPattern,
    ShiftSpan,
    day_span,
    shifts_between,
    staffed,
    unset_dates,
)
from shopfloor.site.queries import downs_between, shift_patterns, shop_zone


class ShiftBook:
    """Shifts and tables down from a day before `start` to a day after `end`. All of it is read
    when it is made; nothing is asked after. `patterns` and `downs`: as others than today's, such as
    they stood at an earlier moment."""

    def __init__(
        self,
        start: datetime,
        end: datetime,
        *,
        patterns: Sequence[ShiftPattern] | None = None,
        downs: Sequence[Down] | None = None,
    ) -> None:
        self.zone = ZoneInfo(shop_zone())
        self.first, self.last = start, end
        day = timedelta(days=1)
        patterns = shift_patterns() if patterns is None else patterns
        self.spans = shifts_between(start - day, end + day, patterns, self.zone)
        # Without shifts a shop is at work all day; with some, in a week of holidays, it is not.
        first, last = (each.astimezone(self.zone).date() for each in (start, end))
        self.unset = frozenset(unset_dates(patterns, first - 2 * day, last + 2 * day))
        # Whether regular shifts are set for any of its own dates, held on it or not.
        self.has_shifts = len(unset_dates(patterns, first, last)) <= (last - first).days
        self.downs = downs_between(start - day, end + day) if downs is None else list(downs)
        self._worked: dict[str, list[Span]] = {}
        self._starts = [to_us(span.start) for span in self.spans]
        self._ends = [to_us(span.end) for span in self.spans]

    def worked_at(self, table: str) -> list[Span]:
        """Time somebody was scheduled at a table, by its code: its shifts, those that touch as one,
        and each whole day for which the shop has set none. A table that no shift names in a shop
        that has shifts is not scheduled."""
        if table not in self._worked:
            self._worked[table] = sorted([*self._shifts_of(table), *self._whole_days(table)])
        return self._worked[table]

    def _shifts_of(self, table: str) -> list[Span]:
        return union((to_us(span.start), to_us(span.end)) for span in self._set(table))

    def _set(self, table: str) -> list[ShiftSpan]:
        """Of a day without regular shifts an added one is a part."""
        return [one for one in self.spans if one.at_table(table) and one.date not in self.unset]

    def _whole_days(self, table: str) -> list[Span]:
        days = [day_span(day, self.zone) for day in sorted(self.unset)]
        spans = [(to_us(start), to_us(end)) for start, end in days]
        return subtract(spans, self._shifts_of(table))

    def down_at(self, table: str, *, planned: bool | None = None) -> list[Span]:
        """Time a table could not cut; with `planned`, only upkeep or only breakdowns."""
        return union(
            (to_us(down.start), to_us(down.end))
            for down in self.downs
            if down.table == table and planned in (None, down.planned)
        )

    def open_at(self, table: str) -> list[Span]:
        """Time somebody was scheduled at a table that could cut."""
        return subtract(self.worked_at(table), self.down_at(table))

    def staffed_at(self, table: str) -> list[Span]:
        """The same less the breaks of the shifts."""
        own = staffed(self._set(table), self.downs, table)
        days = subtract(self._whole_days(table), self.down_at(table))
        return sorted([*((to_us(a), to_us(b)) for a, b in own), *days])

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
