"""Money in minor units."""

from __future__ import annotations

from planning.calc.numbers import marked, written


def money_text(minor: int, digits: int) -> str:
    sign, figure = ("−" if minor < 0 else ""), abs(minor)
    if not digits:
        return f"{sign}{written(figure)}"
    whole, part = divmod(figure, 10**digits)
    return sign + marked(f"{whole:,}.{part:0{digits}d}")
