"""A number and what it counts, in words: 1 arc, 27 arcs. Pure."""

from __future__ import annotations


def count(number: int, one: str, many: str = "") -> str:
    """1 arc, 27 arcs, 1,204 arcs."""
    return f"{number:,} {one if number == 1 else many or one + 's'}"


def count_fractional(quantity: float, one: str) -> str:
    """The same of what can be shared: 1 start, 72 starts, 72.5 starts."""
    if quantity == int(quantity):
        return count(int(quantity), one)
    return f"{quantity:,.1f} {one}s"
