"""Numbers of a line. Only plain ASCII digits count; what a spreadsheet mangled is refused."""

from __future__ import annotations

import re
from math import isinf
from typing import Final

from telemetry.errors import ParseError
from telemetry.said import said

_DECIMAL: Final = re.compile(r"[+-]?(\d+(\.\d*)?|\.\d+)([eE][+-]?\d{1,2})?\Z", re.ASCII)
_LONGEST_SEQ: Final = 18  # digits that fit a 64-bit column


def running_number(text: str | None) -> int:
    """A device's running number. Raises ParseError."""
    text = (text or "").strip()
    if text.isdigit() and text.isascii() and len(text) <= _LONGEST_SEQ:
        return int(text)
    if not text:
        raise ParseError("missing field", said("no seq"))
    raise ParseError("bad seq", said("{text!r} is not a running number", text=text))


def reading(text: str | None, last: int) -> str | None:
    """The digits of a counter that goes up to `last` (0: any), None where the line has none.
    Raises ParseError."""
    text = (text or "").strip()
    if not text:
        return None
    if not (text.isdigit() and text.isascii() and len(text) <= _LONGEST_SEQ):
        raise ParseError("bad value", said("{text!r} is not a counter's number", text=text))
    if last and int(text) > last:
        raise ParseError(
            "bad value", said("{text} is above counts_to, {last}", text=text, last=last)
        )
    return text


def decimal(text: str | None, point: str) -> float:
    """A finite number with `point` between whole and fraction. Raises ParseError."""
    text = (text or "").strip()
    plain = text
    if point == ",":
        # A point beside the decimal comma may group thousands or not: refused, never guessed.
        plain = text.replace(",", ".") if "." not in text else ""
    if not _DECIMAL.match(plain):
        raise ParseError("bad value", said("{text!r} is not a number", text=text))
    value = float(plain)
    if isinf(value):
        raise ParseError("bad value", said("beyond any double"))
    return value
