"""How the day's and the run's pages write what the office pages do not."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime
from typing import Any

from django import template
from django.utils import timezone
from django.utils.safestring import SafeString
from django.utils.translation import gettext as _

from dashboards import theme
from planning.calc.dates import day_time, timed
from planning.calc.numbers import filled, written
from planning.calc.units import KPA_PER_BAR, KPA_PER_PSI
from shopfloor.wording.typed import Value, with_value
from shopfloor.wording.unknown import unknown

Words = Callable[..., Any]

register = template.Library()


def _valued(of: Callable[..., tuple[Value, str]]) -> Callable[[Words], Words]:
    """A filter whose words carry their value and its unit into tables."""

    def add(words: Words) -> Words:
        register.filter(words.__name__, with_value(words, of))
        return words

    return add


@_valued(lambda seconds: (seconds, "s"))
def arc_length(seconds: float | None) -> str | SafeString:
    """The length of an arc: 12.4 s, 3 min 20 s."""
    if seconds is None:
        return unknown()
    if seconds < 100:
        return f"{written(seconds, '.1f')} s"
    whole = round(seconds)
    return _("{minutes} min {seconds:02d} s").format(minutes=whole // 60, seconds=whole % 60)


@_valued(lambda seconds: (seconds / 60, "min"))
def more(seconds: float | None) -> str | SafeString:
    """A difference with its sign: +12.4 min, −3.0 min, +4.2 s."""
    if seconds is None:
        return unknown()
    if abs(seconds) < 59.95:
        tenths = round(seconds, 1)
        return f"{'+' if tenths > 0 else '−' if tenths < 0 else ''}{written(abs(tenths), '.1f')} s"
    minutes = round(seconds / 60, 1)
    sign = "+" if minutes > 0 else "−" if minutes < 0 else ""
    return filled(_("{sign}{minutes:,.1f} min"), sign=sign, minutes=abs(minutes))


@_valued(lambda seconds: (seconds / 60, "min"))
def span(seconds: float | None) -> str | SafeString:
    """2 h 42 min, 18 min, 40 s."""
    return unknown() if seconds is None else theme.span(seconds)


@_valued(lambda kpa, inch=False: (kpa / KPA_PER_PSI, "psi") if inch else (kpa / KPA_PER_BAR, "bar"))
def pressure(kpa: float | None, inch: bool = False) -> str | SafeString:
    """Pressure of air in bar, or in psi for people who chose inches."""
    if kpa is None:
        return unknown()
    return (
        filled(_("{kpa:.0f} psi"), kpa=kpa / KPA_PER_PSI)
        if inch
        else filled(_("{kpa:.1f} bar"), kpa=kpa / KPA_PER_BAR)
    )


@_valued(lambda number, blank="": (number, ""))
def grouped(number: float | None, blank: str = "") -> str | SafeString:
    """A count with its thousands apart; `blank` stands for none."""
    if number is None:
        return blank or unknown()
    return written(number, ",.0f")


@_valued(lambda moment, beside=None: (moment, ""))
def clock(moment: datetime | None, beside: datetime | None = None) -> str:
    """HH:MM in the shop's zone, with the day where that is not the day of `beside`; blank where
    it has not come yet."""
    if moment is None:
        return ""
    here = timezone.localtime(moment)
    if beside is not None and timezone.localtime(beside).date() != here.date():
        return day_time(here)
    return timed(here)


@_valued(lambda share: (share * 100, "%"))
def hundred(share: float | None) -> str | SafeString:
    """A share in hundredths: 0.0541 as 5.4."""
    return unknown() if share is None else written(share * 100, ".1f")


@_valued(lambda seconds: (seconds / 3600, "h"))
def hours(seconds: float | None) -> str | SafeString:
    """Seconds as hours to a tenth: 289.6."""
    return unknown() if seconds is None else written(seconds / 3600, ",.1f")
