"""The number of a row in text that somebody else wrote. Pure."""

from __future__ import annotations


def row_number(text: str | None) -> int | None:
    """As an address, a hidden field or an entry names a row; None for anything else, such as a
    name. Only plain digits, and no more of them than a database takes."""
    return int(text) if text and text.isascii() and text.isdigit() and len(text) < 12 else None
