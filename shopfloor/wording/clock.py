"""Moments in the shop's zone, and spans of time."""

from __future__ import annotations

from datetime import datetime

from django.utils import timezone
from django.utils.safestring import SafeString
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from planning.calc.dates import WEEKDAY, WEEKDAY_YEAR, day_time
from planning.calc.numbers import filled, written
from shopfloor.wording.unknown import unknown


def minutes(seconds: float | str | None) -> str | SafeString:
    """Seconds as minutes: 74.3 min, 2 h 05 min from two hours on."""
    if seconds is None or seconds == "":
        return unknown()
    taken = float(seconds)
    whole = round(taken / 60)
    if whole >= 120:
        return _("{hours} h {minutes:02d} min").format(hours=whole // 60, minutes=whole % 60)
    return filled(_("{minutes:.1f} min"), minutes=taken / 60)


def part_time(seconds: float | str | None) -> str | SafeString:
    """What one part takes: seconds below a minute, where 0.0 min would say nothing."""
    if seconds is None or seconds == "" or float(seconds) >= 60:
        return minutes(seconds)
    return f"{written(float(seconds), '.1f')} s"


def when(moment: datetime | None, blank: str = "") -> str | SafeString:
    """A moment in the shop's zone: Thu 8 Oct 13:30, with the year where it is another."""
    if moment is None:
        return blank or unknown()
    local = timezone.localtime(moment)
    this_year = local.year == timezone.localtime().year
    return day_time(local, WEEKDAY if this_year else WEEKDAY_YEAR)


def age(moment: datetime | None) -> str | SafeString:
    """How long ago: 18 min, 3 h 10 min, 4 days."""
    if moment is None:
        return unknown()
    return seconds_text((timezone.now() - moment).total_seconds())


def seconds_text(seconds: float | None) -> str | SafeString:
    """A span in words a person reads at a glance."""
    if seconds is None:
        return unknown()
    s = max(0, round(seconds))
    if s < 90:
        return _("{seconds} s").format(seconds=s)
    if s < 7200:
        return _("{minutes} min").format(minutes=s // 60)
    if s < 172_800:
        return _("{hours} h {minutes:02d} min").format(hours=s // 3600, minutes=s % 3600 // 60)
    days = s // 86_400
    return ngettext("{days} day", "{days} days", days).format(days=days)


def clock(us: int | None) -> str | SafeString:
    """A clock's error in microseconds as seconds."""
    return unknown() if us is None else f"{written(us / 1e6, '.1f')} s"


def minutes_figure(seconds: float | None) -> float | None:
    """Seconds as minutes with one place, for a column or a sentence that names the unit."""
    return None if seconds is None else round(seconds / 60, 1)


def clock_off(us: int | None) -> str | SafeString:
    """A clock's error in one cell: 420 s slow, 3 s fast, right."""
    if us is None:
        return unknown()
    if abs(us) < 1_000_000:
        return _("right")
    off = _("{seconds:.0f} s slow") if us > 0 else _("{seconds:.0f} s fast")
    return off.format(seconds=abs(us) / 1e6)


def behind(us: int) -> str:
    """A clock's error as part of a sentence."""
    off = (
        _("{seconds:.1f} s behind this machine")
        if us >= 0
        else _("{seconds:.1f} s ahead of this machine")
    )
    return off.format(seconds=abs(us) / 1e6)


def behind_s(seconds: float) -> str:
    """A device's clock against the shop's: 3 min fast."""
    size = seconds_text(abs(seconds))
    return (_("{size} fast") if seconds > 0 else _("{size} slow")).format(size=size)
