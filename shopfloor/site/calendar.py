"""Shifts on the shop's wall clock, in UTC instants. Pure: no Django, `now` is an argument.

A shift belongs to the local date it starts on. Its length is the time that really passes, so a
22:00-06:00 night is 7 h when clocks go forward and 9 h when they go back. Python trap avoided:
subtracting two datetimes of one zone ignores the repeated hour, so everything is UTC first.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo


@dataclass(frozen=True, slots=True)
class Away:
    """Start dates from `first` to `last` on which nobody is at these tables."""

    first: date
    last: date
    tables: frozenset[str]


@dataclass(frozen=True, slots=True)
class ShiftPattern:
    name: str
    start: time
    end: time
    weekdays: frozenset[int]  # ISO, of the start date
    breaks: tuple[Sequence[object], ...]  # ("HH:MM", minutes, label)
    valid_from: date
    valid_to: date | None = None
    tables: frozenset[str] = frozenset()  # none: all
    closed: frozenset[date] = frozenset()  # start dates on which it is not held
    added: bool = False  # overtime on one day: it does not make a shop one that has shifts
    away: tuple[Away, ...] = ()  # who is missing without a stand-in


@dataclass(frozen=True, slots=True)
class Down:
    """A table that cannot cut; `start` and `end` are UTC."""

    table: str
    start: datetime
    end: datetime
    planned: bool
    why: str = ""


@dataclass(frozen=True, slots=True)
class ShiftSpan:
    """One shift on one date; `start` and `end` are UTC."""

    name: str
    date: date
    start: datetime
    end: datetime
    breaks: tuple[tuple[datetime, datetime, str], ...]
    tables: frozenset[str] = frozenset()
    missing: frozenset[str] = frozenset()  # tables whose person is away, without a stand-in

    def at_table(self, code: str) -> bool:
        """Whether somebody is scheduled at this table."""
        return code not in self.missing and (not self.tables or code in self.tables)

    @property
    def seconds(self) -> float:
        return (self.end - self.start).total_seconds()


def wall_to_utc(day: date, at: time, zone: ZoneInfo) -> datetime:
    """The instant of a wall time. One that occurs twice means the first; one that does not exist
    moves on by the missing hour."""
    return datetime.combine(day, at, tzinfo=zone).replace(fold=0).astimezone(UTC)


def day_span(day: date, zone: ZoneInfo) -> tuple[datetime, datetime]:
    """Midnight to midnight in UTC: 23, 24 or 25 hours."""
    return wall_to_utc(day, time(0), zone), wall_to_utc(day + timedelta(days=1), time(0), zone)


def span_of(pattern: ShiftPattern, day: date, zone: ZoneInfo) -> ShiftSpan | None:
    """The pattern's shift that starts on `day`, or None where it has none."""
    if day.isoweekday() not in pattern.weekdays or day < pattern.valid_from:
        return None
    if day in pattern.closed:
        return None
    if pattern.valid_to and day > pattern.valid_to:
        return None
    overnight = pattern.end <= pattern.start
    start = wall_to_utc(day, pattern.start, zone)
    end = wall_to_utc(day + timedelta(days=1) if overnight else day, pattern.end, zone)
    breaks = []
    for at_text, minutes, label in pattern.breaks:
        at = time.fromisoformat(str(at_text))
        on = day + timedelta(days=1) if overnight and at < pattern.start else day
        begun = wall_to_utc(on, at, zone)
        breaks.append((begun, begun + timedelta(minutes=float(str(minutes))), str(label)))
    missing = frozenset(
        table for one in pattern.away if one.first <= day <= one.last for table in one.tables
    )
    return ShiftSpan(pattern.name, day, start, end, tuple(breaks), pattern.tables, missing)


def shifts_between(
    start: datetime, end: datetime, patterns: Iterable[ShiftPattern], zone: ZoneInfo
) -> list[ShiftSpan]:
    """All shifts that overlap [start, end), in order."""
    day = start.astimezone(zone).date() - timedelta(days=1)
    last = end.astimezone(zone).date()
    patterns = held_between(patterns, day, last)
    found = []
    while day <= last:
        for pattern in patterns:
            span = span_of(pattern, day, zone)
            if span and span.start < end and span.end > start:
                found.append(span)
        day += timedelta(days=1)
    return sorted(found, key=lambda span: (span.start, span.name))


def held_between(patterns: Iterable[ShiftPattern], first: date, last: date) -> list[ShiftPattern]:
    """Those that are valid on any of these dates."""
    return [
        one
        for one in patterns
        if one.valid_from <= last and (one.valid_to is None or one.valid_to >= first)
    ]


def unset_dates(patterns: Iterable[ShiftPattern], first: date, last: date) -> list[date]:
    """Dates from `first` to `last` for which the shop has set no regular shift, not even one that a
    closed day or the weekday takes out: it is then at work all day."""
    regular = [one for one in held_between(patterns, first, last) if not one.added]
    if any(one.valid_from <= first and (one.valid_to or last) >= last for one in regular):
        return []
    dates = [first + timedelta(days=n) for n in range((last - first).days + 1)]
    return [day for day in dates if not held_between(regular, day, day)]


Stretch = tuple[datetime, datetime]


def staffed(spans: Iterable[ShiftSpan], downs: Iterable[Down], table: str) -> list[Stretch]:
    """Time in which a table has somebody and can cut: its shifts less their breaks and the time
    it is down, in order and apart."""
    own = [span for span in spans if span.at_table(table)]
    away = [(begun, ended) for span in own for begun, ended, _ in span.breaks]
    away += [(down.start, down.end) for down in downs if down.table == table]
    found: list[Stretch] = []
    for start, end in joined((span.start, span.end) for span in own):
        at = start
        for begun, ended in joined(away):
            if ended <= at or begun >= end:
                continue
            if begun > at:
                found.append((at, begun))
            at = ended
        if at < end:
            found.append((at, end))
    return found


def joined(stretches: Iterable[Stretch]) -> list[Stretch]:
    """The time covered by any of them; what touches is one."""
    found: list[Stretch] = []
    for start, end in sorted(stretches):
        if found and start <= found[-1][1]:
            found[-1] = (found[-1][0], max(end, found[-1][1]))
        elif end > start:
            found.append((start, end))
    return found


def shift_at(
    moment: datetime, patterns: Iterable[ShiftPattern], zone: ZoneInfo
) -> ShiftSpan | None:
    """The shift a moment falls in; of two that overlap, the one that began first."""
    spans = shifts_between(moment, moment + timedelta(microseconds=1), patterns, zone)
    return spans[0] if spans else None
