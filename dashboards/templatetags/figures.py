"""How the day's and the run's pages write what the office pages do not."""

from __future__ import annotations

from django import template
from django.utils.safestring import SafeString

from shopfloor.templatetags.office import UNKNOWN

register = template.Library()


@register.filter
def arc_length(seconds: float | None) -> str | SafeString:
    """The length of an arc: 12.4 s, 3 min 20 s."""
    if seconds is None:
        return UNKNOWN
    if seconds < 100:
        return f"{seconds:.1f} s"
    whole = round(seconds)
    return f"{whole // 60} min {whole % 60:02d} s"


@register.filter
def more(seconds: float | None) -> str | SafeString:
    """A difference in minutes with its sign: +12.4 min, −3.0 min."""
    if seconds is None:
        return UNKNOWN
    minutes = round(seconds / 60, 1)
    sign = "+" if minutes > 0 else "−" if minutes < 0 else ""
    return f"{sign}{abs(minutes):,.1f} min"
