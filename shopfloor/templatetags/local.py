"""Dates and decimals in templates, in the reader's language and with their values. Every template
has these in place of Django's own."""

from __future__ import annotations

from datetime import date as day
from datetime import datetime, time
from typing import Any, Final

from django import template
from django.template import defaultfilters

from planning.calc import dates
from shopfloor.wording.typed import typed

register = template.Library()
# Our forms by Django's letters for them.
FORMS: Final = {
    "j M": dates.DAY,
    "j M Y": dates.DAY_YEAR,
    "D j M": dates.WEEKDAY,
    "D j M Y": dates.WEEKDAY_YEAR,
    "j F": dates.LONG_DAY,
    "j F Y": dates.LONG_DAY_YEAR,
    "M Y": dates.SHORT_MONTH,
    "F Y": dates.MONTH,
}
MACHINE: Final = ("c", "Y-m-d")


@register.filter(expects_localtime=True)
def date(moment: day | time | None, form: str = "j M Y") -> Any:
    """A day, or with "H:i" a moment, of the shop's zone; a day in words knows its value."""
    if not moment and not isinstance(moment, time):
        return ""
    if isinstance(moment, time) or (isinstance(moment, datetime) and form == "H:i"):
        return dates.timed(moment)
    if form in MACHINE:
        return defaultfilters.date(moment, form)
    if isinstance(moment, datetime) and form.endswith(" H:i"):
        return typed(dates.day_time(moment, FORMS[form.removesuffix(" H:i")]), moment)
    words = dates.dated(moment, FORMS[form])
    return typed(words, moment) if "M" in form else words


@register.filter
def floatformat(value: Any, places: int | str = -1) -> Any:
    """Django's own, with the value beside the words."""
    words = defaultfilters.floatformat(value, places)
    return typed(str(words), float(value)) if isinstance(value, int | float) else words
