"""Stamps to integer microseconds UTC.

ISO stamps follow RFC 3339 (a space may stand for the T, the offset may be left out, a comma may
stand for the point). Without an offset the feed's zone holds, and then:

- in the repeated hour of autumn the earlier reading is taken unless it would lie before what
  has already come in, by more than the reorder window; such times are flagged AMBIGUOUS_TIME;
- in the hour that spring skips the line is refused (`no such local time`), never shifted.

Stamps of the formats `month_day_year` and `day_month_year` (11/29/2026 14:00:00) are read as the
ISO stamps they mean.

Second 60 is taken only at 23:59 UTC, where leap seconds are, and filed at the start of the
next second, as POSIX time does (1990-12-31T23:59:60Z = 1991-01-01T00:00:00Z), with a flag.
Digits past the microsecond are cut off. Times before 2001 and from 2090 on are a clock that was
never set: refused (`time out of range`).
"""

from __future__ import annotations

import re
from collections.abc import Callable
from datetime import UTC, datetime, timedelta, timezone
from typing import Final
from zoneinfo import ZoneInfo

from telemetry.errors import ParseError
from telemetry.events import AMBIGUOUS_TIME, LEAP_SECOND
from telemetry.said import said

SECOND_US: Final = 1_000_000
EARLIEST_US: Final = 978_307_200 * SECOND_US  # 2001-01-01T00:00:00Z
LATEST_US: Final = 3_786_912_000 * SECOND_US  # 2090-01-01T00:00:00Z

_EPOCH: Final = datetime(1970, 1, 1, tzinfo=UTC)
_HEAD: Final = re.compile(r"(\d{4})-(\d\d)-(\d\d)[Tt ](\d\d):(\d\d)", re.ASCII)
_REST: Final = re.compile(
    r":(\d\d)(?:[.,](\d{1,6})\d{0,6})?\s*([Zz]|[+-]\d\d(?::?\d\d)?)?\Z", re.ASCII
)
_NUMBER: Final = re.compile(r"(\d{1,14})(?:\.(\d{1,6})\d{0,6})?\Z", re.ASCII)
_SLASH: Final = re.compile(
    r"(\d{1,2})[/.-](\d{1,2})[/.-](\d{4})[Tt ,]+(\d{1,2}):(\d\d:\d\d(?:[.,]\d{1,12})?)"
    r"(?: ?([AaPp])\.?[Mm]\.?)?\s*([Zz]|[+-]\d\d(?::?\d\d)?)?\Z",
    re.ASCII,
)
DAY_FIRST: Final = {"month_day_year": False, "day_month_year": True}
_DAY_US: Final = 86_400 * SECOND_US
_CACHED_MINUTES: Final = 4096

_OFFSET_BITS: Final = 12
_NO_OFFSET: Final = 0
_OF_EPOCH: Final = (1 << _OFFSET_BITS) - 1

ReadStamp = Callable[[str, int], tuple[int, int, int]]


def make_reader(format_: str, zone: str | None, window_us: int) -> ReadStamp:
    """A function (stamp, newest time so far in us) -> (time in us, flags, mark).

    The mark is what the stamp says by itself, whatever the feed's zone: its wall time in us and
    behind it, in twelve bits, its offset. It grows as stamps of one offset do.
    It raises ParseError with `bad time`, `no such local time` or `time out of range`.
    """
    if format_ == "iso":
        return IsoReader(zone, window_us).read
    if format_ in DAY_FIRST:
        return SlashReader(IsoReader(zone, window_us), day_first=DAY_FIRST[format_]).read
    digits = 6 if format_ == "epoch_s" else 3

    def read(text: str, _newest_us: int) -> tuple[int, int, int]:
        time_us = within_range(epoch_us(text, digits))
        return time_us, 0, time_us << _OFFSET_BITS | _OF_EPOCH

    return read


class SlashReader:
    """Reads 11/29/2026 14:00:00 and 11/29/2026 2:00:00 PM as the ISO stamp they mean. Dots and
    dashes may stand for the slashes; the rules of ISO stamps hold from there on."""

    def __init__(self, iso: IsoReader, *, day_first: bool) -> None:
        self._iso, self._day_first = iso, day_first

    def read(self, text: str, newest_us: int) -> tuple[int, int, int]:
        found = _SLASH.match(text.strip())
        if not found:
            words = said("{text!r} is not a date such as 11/29/2026 14:00:00", text=text.strip())
            raise ParseError("bad time", words)
        first, second, year, hour, rest, half, offset = found.groups()
        month, day = (second, first) if self._day_first else (first, second)
        hours = int(hour)
        if half:
            if not 1 <= hours <= 12:
                raise ParseError(
                    "bad time", said("no hour {hour} before noon or after it", hour=hour)
                )
            hours = hours % 12 + (12 if half[0] in "Pp" else 0)
        iso = f"{year}-{int(month):02d}-{int(day):02d} {hours:02d}:{rest}{offset or ''}"
        return self._iso.read(iso, newest_us)


def within_range(time_us: int) -> int:
    """The time itself; raises ParseError where no running shop can have meant it."""
    if not EARLIEST_US <= time_us < LATEST_US:
        raise ParseError("time out of range", said("before 2001 or after 2089"))
    return time_us


def epoch_us(text: str, digits: int) -> int:
    """Microseconds of a decimal number whose unit is 10**`digits` of them."""
    found = _NUMBER.match(text.strip())
    if not found:
        raise ParseError("bad time", said("{text!r} is not a number of the epoch", text=text))
    whole, fraction = found.groups()
    part = int(fraction[:digits].ljust(digits, "0")) if fraction else 0
    return int(whole) * int(10**digits) + part


class IsoReader:
    """Reads ISO stamps; the readings of a minute are kept, since lines come in crowds."""

    def __init__(self, zone: str | None, window_us: int) -> None:
        self._zone = None if zone is None else ZoneInfo(zone)
        self._window_us = window_us
        self._minutes: dict[tuple[str, str | None], tuple[int, int, int]] = {}

    def read(self, text: str, newest_us: int) -> tuple[int, int, int]:
        text = text.strip()
        head = text[:16]
        found = _REST.match(text, 16)
        if not found:
            words = said("{text!r} is not an ISO time with seconds", text=text)
            raise ParseError("bad time", _with_hint(words, text))
        second, fraction, offset = found.groups()
        minute = self._minutes.get((head, offset))
        if minute is None:
            minute = self.minute(head, offset)
            if len(self._minutes) >= _CACHED_MINUTES:
                self._minutes.clear()
            self._minutes[head, offset] = minute
        part_us = int(second) * SECOND_US
        if fraction:
            part_us += int(fraction.ljust(6, "0"))
        time_us = minute[0] + part_us
        flags = 0
        if minute[1] != minute[0]:
            flags = AMBIGUOUS_TIME
            if time_us < newest_us - self._window_us:
                time_us = minute[1] + part_us
        if part_us >= 60 * SECOND_US:
            flags |= _leap(second, minute[0])
        if not EARLIEST_US <= time_us < LATEST_US:
            within_range(time_us)
        return time_us, flags, minute[2] + (part_us << _OFFSET_BITS)

    def minute(self, head: str, offset: str | None) -> tuple[int, int, int]:
        """Earlier and later reading of a minute, equal but in the repeated hour, and its mark."""
        found = _HEAD.match(head)
        if not found:
            words = said("{head!r} is not an ISO date and time", head=head)
            raise ParseError("bad time", _with_hint(words, f"{head}:00"))
        year, month, day, hour, minute = map(int, found.groups())
        try:
            wall = datetime(year, month, day, hour, minute, tzinfo=UTC)
        except ValueError as error:
            raise ParseError("bad time", f"{head!r}: {error}") from error
        if offset is not None:
            exact = _us(wall.replace(tzinfo=_zone_of(offset)))
            minutes = (_us(wall) - exact) // (60 * SECOND_US)
            return exact, exact, _us(wall) << _OFFSET_BITS | minutes + 1 + 24 * 60
        if self._zone is None:
            raise ParseError("bad time", said("no offset, and the feed names no zone"))
        first = _us(wall.replace(tzinfo=self._zone, fold=0))
        second = _us(wall.replace(tzinfo=self._zone, fold=1))
        if first > second:
            raise ParseError(
                "no such local time", said("{head!r} is in the hour spring skips", head=head)
            )
        return first, second, _us(wall) << _OFFSET_BITS | _NO_OFFSET


def _with_hint(words: str, text: str) -> str:
    if not _SLASH.match(text):
        return words
    formats = " or ".join(DAY_FIRST)
    return said("{words}; [time] format {formats} reads such stamps", words=words, formats=formats)


def _us(moment: datetime) -> int:
    return (moment - _EPOCH) // timedelta(microseconds=1)


def _zone_of(offset: str) -> timezone:
    if offset in "Zz":
        return UTC
    digits = offset[1:].replace(":", "").ljust(4, "0")
    hours, minutes = int(digits[:2]), int(digits[2:])
    if hours > 23 or minutes > 59:
        raise ParseError("bad time", said("no such offset: {offset}", offset=offset))
    span = timedelta(hours=hours, minutes=minutes)
    return timezone(-span if offset[0] == "-" else span)


def _leap(second: str, minute_us: int) -> int:
    if second != "60" or minute_us % _DAY_US != _DAY_US - 60 * SECOND_US:
        raise ParseError("bad time", said("no second {second} in that minute", second=second))
    return LEAP_SECOND
