"""Numbers as a person reads them: the language says which mark stands before decimals and which
between thousands. The only place that writes a number for a reader; what programs read (addresses,
drawings, fields of a form) has a point and no marks between."""

from __future__ import annotations

from typing import Any

from planning.calc.translated import marks

ENGLISH = ".", ","


def written(value: float, spec: str = ",") -> str:
    """A number by a format as `,.1f`, in the reader's marks."""
    return marked(format(value, spec))


def marked(figure: str) -> str:
    """A number written in English (1,204.5), in the reader's marks (1.204,5)."""
    own = marks()
    if own == ENGLISH:
        return figure
    decimal, group = own
    return figure.translate({ord("."): decimal, ord(","): group})


def filled(pattern: str, *values: Any, **named: Any) -> str:
    """`pattern.format(...)`, with the numbers in it in the reader's marks."""
    if marks() == ENGLISH:
        return pattern.format(*values, **named)
    return pattern.format(*map(_local, values), **{key: _local(of) for key, of in named.items()})


class _Float(float):
    def __format__(self, spec: str) -> str:
        return marked(super().__format__(spec))


class _Whole(int):
    """A whole number without a format stays digits."""

    def __format__(self, spec: str) -> str:
        return marked(super().__format__(spec))


def _local(value: Any) -> Any:
    if isinstance(value, bool) or not isinstance(value, int | float):
        return value
    return _Whole(value) if isinstance(value, int) else _Float(value)
