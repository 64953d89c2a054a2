"""A number and what it counts, in words: 1 arc, 27 arcs. Pure."""

from __future__ import annotations

from planning.calc.numbers import written
from planning.calc.translated import ngettext


def grouped(figure: object) -> object:
    """1,204; what is no whole number stays as it is."""
    return written(figure, ",") if isinstance(figure, int) else figure


def count(number: int, one: str, many: str) -> str:
    """1 arc, 27 arcs, 1,204 arcs, of "{n} arc" and "{n} arcs". Both are written out where it is
    called: a call of `count` marks them for translation."""
    return ngettext(one, many, number).format(n=written(number, ","))


def count_fractional(quantity: float, one: str, many: str) -> str:
    """The same of what can be shared: 1 start, 72 starts, 72.5 starts."""
    if quantity == int(quantity):
        return count(int(quantity), one, many)
    return ngettext(one, many, 2).format(n=written(quantity, ",.1f"))
