"""Which shift the page shows, and the ones before and after it."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime, timedelta
from urllib.parse import urlencode

from django.utils.translation import gettext as _

from dashboards import data
from planning.calc.dates import LONG_WEEKDAY_YEAR, WEEKDAY, dated
from shopfloor.site.calendar import ShiftSpan

EARLIEST = date(1970, 1, 1)


@dataclass(frozen=True, slots=True)
class Choice:
    """`at` is the moment the page is drawn for: now, or the last second of a shift that is over."""

    at: datetime
    live: bool
    span: ShiftSpan | None


def chosen(day_text: str, shift: str, now: datetime) -> Choice:
    """The shift asked for. Raises `LookupError` where there is none of that date and name, or
    where it has not begun."""
    if not day_text:
        return Choice(now, True, data.shift_of(now))
    try:
        day = date.fromisoformat(day_text)
    except ValueError:
        raise LookupError(
            _("{day_text!r} is not a date; one is written 2026-10-08.").format(day_text=day_text)
        ) from None
    # Far days have no shift that began, and near the calendar's ends no noon either.
    near = EARLIEST <= day <= now.date() + timedelta(days=1)
    begun = [span for span in data.shifts_on(day) if span.start <= now] if near else []
    named = [span for span in begun if span.name == shift] if shift else begun[-1:]
    if not named:
        what = _("no {shift} shift").format(shift=shift) if shift else _("no shift")
        raise LookupError(
            _("There was {what} on {day}.").format(what=what, day=dated(day, LONG_WEEKDAY_YEAR))
        )
    span = named[0]
    if span.start <= now < span.end:
        return Choice(now, True, span)
    return Choice(span.end - timedelta(seconds=1), False, span)


@dataclass(frozen=True, slots=True)
class Neighbour:
    label: str
    query: str


def neighbours(choice: Choice, now: datetime) -> tuple[Neighbour | None, Neighbour | None]:
    """The shift before and the one after, if it has begun."""
    spans = data.shifts_near(choice.at)
    begin = choice.span.start if choice.span else choice.at
    before = [span for span in spans if span.start < begin]
    after = [span for span in spans if begin < span.start <= now]
    return (
        _named(before[-1], now) if before else None,
        _named(after[0], now) if after else None,
    )


def _named(span: ShiftSpan, now: datetime) -> Neighbour:
    label = f"{dated(span.date, WEEKDAY)}, {span.name}"
    query = (
        ""
        if span.start <= now < span.end
        else "?" + urlencode({"day": span.date.isoformat(), "shift": span.name})
    )
    return Neighbour(label, query)
