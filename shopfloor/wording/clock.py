"""Moments in the shop's zone, and spans of time."""

from __future__ import annotations

from datetime import datetime

from django.utils import timezone
from django.utils.safestring import SafeString

from shopfloor.wording.unknown import UNKNOWN


def minutes(seconds: float | str | None) -> str | SafeString:
    """Seconds as minutes: 74.3 min, 2 h 05 min from two hours on."""
    if seconds is None or seconds == "":
        return UNKNOWN
    taken = float(seconds)
    whole = round(taken / 60)
    if whole >= 120:
        return f"{whole // 60} h {whole % 60:02d} min"
    return f"{taken / 60:.1f} min"


def part_time(seconds: float | str | None) -> str | SafeString:
    """What one part takes: seconds below a minute, where 0.0 min would say nothing."""
    if seconds is None or seconds == "" or float(seconds) >= 60:
        return minutes(seconds)
    return f"{float(seconds):.1f} s"


def when(moment: datetime | None, blank: str = "") -> str | SafeString:
    """A moment in the shop's zone: Thu 8 Oct 13:30, with the year where it is another."""
    if moment is None:
        return blank or UNKNOWN
    local = timezone.localtime(moment)
    year = "" if local.year == timezone.localtime().year else f" {local.year}"
    return f"{local:%a} {local.day} {local:%b}{year} {local:%H:%M}"


def age(moment: datetime | None) -> str | SafeString:
    """How long ago: 18 min, 3 h 10 min, 4 days."""
    if moment is None:
        return UNKNOWN
    return seconds_text((timezone.now() - moment).total_seconds())


def seconds_text(seconds: float | None) -> str | SafeString:
    """A span in words a person reads at a glance."""
    if seconds is None:
        return UNKNOWN
    s = max(0, round(seconds))
    if s < 90:
        return f"{s} s"
    if s < 7200:
        return f"{s // 60} min"
    if s < 172_800:
        return f"{s // 3600} h {s % 3600 // 60:02d} min"
    return f"{s // 86_400} days"


def clock(us: int | None) -> str | SafeString:
    """A clock's error in microseconds as seconds."""
    return UNKNOWN if us is None else f"{us / 1e6:.1f} s"


def minutes_figure(seconds: float | None) -> float | None:
    """Seconds as minutes with one place, for a column or a sentence that names the unit."""
    return None if seconds is None else round(seconds / 60, 1)


def clock_off(us: int | None) -> str | SafeString:
    """A clock's error in one cell: 420 s slow, 3 s fast, right."""
    if us is None:
        return UNKNOWN
    if abs(us) < 1_000_000:
        return "right"
    return f"{abs(us) / 1e6:.0f} s {'slow' if us > 0 else 'fast'}"


def behind(us: int) -> str:
    """A clock's error as part of a sentence."""
    return f"{abs(us) / 1e6:.1f} s {'behind' if us >= 0 else 'ahead of'} this machine"


def behind_s(seconds: float) -> str:
    """A device's clock against the shop's: 3 min fast."""
    size = seconds_text(abs(seconds))
    return f"{size} {'fast' if seconds > 0 else 'slow'}"
