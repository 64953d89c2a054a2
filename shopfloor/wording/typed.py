"""Words of a value together with the value: a page shows the words, and a table of it is sorted and
exported by the value. Pure but for Django's escaping."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date, datetime
from functools import wraps
from html import escape
from typing import Any

from django.utils import timezone
from django.utils.safestring import SafeString

MONEY = "money"  # a unit: whole units of the shop's currency
Value = float | date | datetime


class Typed(str):
    """Words that know their value and its unit; in a template `<data>` or `<time>` around them."""

    __slots__ = ("unit", "value")
    value: Value
    unit: str

    def __html__(self) -> SafeString:
        # Pages write hundreds: `format_html` takes three times as long. A machine's form of a value
        # has nothing to escape.
        words, value = escape(str(self)), machine(self.value)
        if isinstance(self.value, date):
            return SafeString(f'<time datetime="{value}">{words}</time>')
        return SafeString(f'<data value="{value}" data-unit="{escape(self.unit)}">{words}</data>')


def typed(words: str, value: Value, unit: str = "") -> Typed:
    made = Typed(words)
    made.value, made.unit = value, unit
    return made


def machine(value: Value) -> str:
    """A value as programs read it: a plain number, or a moment of the shop's zone in ISO form."""
    if isinstance(value, datetime):
        here = timezone.localtime(value) if timezone.is_aware(value) else value
        return here.strftime("%Y-%m-%dT%H:%M:%S")
    if isinstance(value, date):
        return value.isoformat()
    return f"{float(value):.12g}"


def with_value(
    words: Callable[..., Any], of: Callable[..., tuple[Value, str] | None]
) -> Callable[..., Any]:
    """A filter whose words carry what `of` says of the same arguments: value and unit."""

    @wraps(words)
    def both(value: Any, *rest: Any) -> Any:
        said = words(value, *rest)
        if value in (None, "") or not isinstance(said, str) or isinstance(said, SafeString):
            return said
        known = of(value, *rest)
        return typed(said, *known) if known else said

    return both
