"""JSON text of small values, quickly: what is empty, or a short word, needs no encoder. Pure."""

from __future__ import annotations

import json
import re
from typing import Any

_plain = re.compile(r"[A-Za-z0-9 _./-]*").fullmatch


def as_json(value: Any) -> str:
    """As `json.dumps` says it."""
    if value is None:
        return "null"
    if isinstance(value, str) and _plain(value):
        return f'"{value}"'
    if not value and isinstance(value, (dict, list)):
        return "{}" if isinstance(value, dict) else "[]"
    return json.dumps(value)


def as_flag(value: bool) -> str:
    return "true" if value else "false"
