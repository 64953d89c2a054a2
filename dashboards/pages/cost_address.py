"""The cost page's own addresses."""

from __future__ import annotations

from datetime import date
from urllib.parse import urlencode

PREFIX = "/cost/"


def address(day: date, **more: str) -> str:
    """This page at a month."""
    return f"{PREFIX}?{urlencode({'month': f'{day:%Y-%m}', **more})}"
