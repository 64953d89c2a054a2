"""Money in minor units."""

from __future__ import annotations


def money_text(minor: int, digits: int) -> str:
    sign, figure = ("−" if minor < 0 else ""), abs(minor)
    if not digits:
        return f"{sign}{figure:,}"
    whole, part = divmod(figure, 10**digits)
    return f"{sign}{whole:,}.{part:0{digits}d}"
