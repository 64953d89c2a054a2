"""Dates and clock times as a person reads them. The only place that writes one for a reader: names
of days and months, their order and the mark between hours and minutes are messages. What is given
is in the shop's zone already."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date, datetime, time
from functools import lru_cache
from string import Formatter

from planning.calc.translated import gettext, language
from planning.calc.translated import gettext_noop as N_

DAYS = (
    N_("Monday"), N_("Tuesday"), N_("Wednesday"), N_("Thursday"), N_("Friday"), N_("Saturday"),
    N_("Sunday"),
)  # fmt: skip
SHORT_DAYS = N_("Mon"), N_("Tue"), N_("Wed"), N_("Thu"), N_("Fri"), N_("Sat"), N_("Sun")
MONTHS = (
    N_("January"), N_("February"), N_("March"), N_("April"), N_("May"), N_("June"), N_("July"),
    N_("August"), N_("September"), N_("October"), N_("November"), N_("December"),
)  # fmt: skip
# In small letters, so that "may" is not the May above; the first letter is made large where it
# stands in a date.
SHORT_MONTHS = (
    N_("jan"), N_("feb"), N_("mar"), N_("apr"), N_("may"), N_("jun"), N_("jul"), N_("aug"),
    N_("sep"), N_("oct"), N_("nov"), N_("dec"),
)  # fmt: skip

# A date by what it shows. {mon} is a month's short name, {month} its name, {weekday} a day's short
# name.
DAY = N_("{day} {mon}")  # 8 Oct
DAY_YEAR = N_("{day} {mon} {year}")  # 8 Oct 2026
WEEKDAY = N_("{weekday} {day} {mon}")  # Thu 8 Oct
WEEKDAY_YEAR = N_("{weekday} {day} {mon} {year}")
LONG_DAY = N_("{day} {month}")  # 8 October
LONG_DAY_YEAR = N_("{day} {month} {year}")
LONG_WEEKDAY = N_("{long_weekday} {day} {month}")  # Thursday 8 October
LONG_WEEKDAY_YEAR = N_("{long_weekday} {day} {month} {year}")
MONTH = N_("{month} {year}")  # October 2026
SHORT_MONTH = N_("{mon} {year}")  # Oct 2026
MONTH_NAME = N_("{month}")
WEEKDAY_ALONE = N_("{weekday}")
FORMS = {
    "DAY": DAY, "DAY_YEAR": DAY_YEAR, "WEEKDAY": WEEKDAY, "WEEKDAY_YEAR": WEEKDAY_YEAR,
    "LONG_DAY": LONG_DAY, "LONG_DAY_YEAR": LONG_DAY_YEAR, "LONG_WEEKDAY": LONG_WEEKDAY,
    "MONTH": MONTH, "SHORT_MONTH": SHORT_MONTH,
}  # fmt: skip


def weekdays(digits: str) -> str:
    """ISO digits as names: 12345 is Mon–Fri, 135 Mon, Wed, Fri, 1234567 every day."""
    days = sorted({int(one) for one in digits if one in "1234567"})
    if len(days) == len(SHORT_DAYS):
        return gettext("every day")
    runs: list[list[int]] = []
    for day in days:
        if runs and runs[-1][-1] == day - 1:
            runs[-1].append(day)
        else:
            runs.append([day])
    return ", ".join(part for run in runs for part in _run_of_days(run))


def _run_of_days(run: list[int]) -> list[str]:
    """Three or more in a row by the first and the last."""
    names = [gettext(SHORT_DAYS[day - 1]) for day in run]
    if len(names) < 3:
        return names
    return [gettext("{first}–{last}").format(first=names[0], last=names[-1])]


def dated(at: date, form: str = DAY_YEAR) -> str:
    """A date by one of the forms above."""
    return _dated(language(), form, at.year, at.month, at.day)


# A page writes hundreds of dates, many of them alike, and each is up to five messages.
@lru_cache(maxsize=4096)
def _dated(language: str | None, form: str, year: int, month: int, day: int) -> str:
    pattern, at = gettext(form), date(year, month, day)
    return pattern.format(**{name: PARTS[name](at) for name in _named(pattern)})


def _mon(at: date) -> str:
    mon = gettext(SHORT_MONTHS[at.month - 1])
    return mon[:1].upper() + mon[1:]


# Only what a form names is looked up.
PARTS: dict[str, Callable[[date], object]] = {
    "day": lambda at: at.day,
    "mon": _mon,
    "month": lambda at: gettext(MONTHS[at.month - 1]),
    "year": lambda at: at.year,
    "weekday": lambda at: gettext(SHORT_DAYS[at.weekday()]),
    "long_weekday": lambda at: gettext(DAYS[at.weekday()]),
}


@lru_cache(maxsize=1000)
def _named(pattern: str) -> tuple[str, ...]:
    return tuple({name for _text, name, _spec, _way in Formatter().parse(pattern) if name})


def timed(at: datetime | time) -> str:
    """13:30."""
    return _timed(language(), at.hour, at.minute)


@lru_cache(maxsize=4096)
def _timed(language: str | None, hour: int, minute: int) -> str:
    return gettext("{hour:02d}:{minute:02d}").format(hour=hour, minute=minute)


def timed_s(at: datetime | time) -> str:
    """13:30:05."""
    return gettext("{hour:02d}:{minute:02d}:{second:02d}").format(
        hour=at.hour, minute=at.minute, second=at.second
    )


def day_time(at: datetime, form: str = WEEKDAY) -> str:
    """Thu 8 Oct 13:30."""
    return _day_time(language(), form, at.year, at.month, at.day, at.hour, at.minute)


@lru_cache(maxsize=4096)
def _day_time(
    language: str | None, form: str, year: int, month: int, day: int, hour: int, minute: int
) -> str:
    date, time = _dated(language, form, year, month, day), _timed(language, hour, minute)
    return gettext("{date} {time}").format(date=date, time=time)


def weekday_time(at: datetime) -> str:
    """Thu 13:30."""
    return gettext("{weekday} {time}").format(
        weekday=gettext(SHORT_DAYS[at.weekday()]), time=timed(at)
    )
