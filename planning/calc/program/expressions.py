"""Expressions of a program that computes, compiled once each.

Source: NISTIR 6556, 3.3.2 and tables 3 and 4: a real value is a number, ``#`` and a real value, an
expression in brackets, or a function of one; power comes first, then ``*``, ``/`` and ``MOD``, then
``+``, ``-``, ``AND``, ``OR`` and ``XOR``; equal ranks from the left; angles in degrees. Not there,
but common: named variables ``#<name>``, comparisons (``EQ NE GT GE LT LE``, below ``+``),
``EXISTS`` and a sign before a bracket or variable. In a bracket that compares, AND, OR and XOR join
the comparisons. There an unset variable is 0; here it is refused: a path would be guessed from it.
"""

from __future__ import annotations

import math
import operator
import re
from collections.abc import Callable
from typing import Final, Protocol

from planning.calc.said import said

Key = int | str

DEEPEST: Final = 32


class Values(Protocol):
    """The variables as a line runs."""

    def get(self, key: Key) -> float: ...
    def known(self, key: Key) -> bool: ...


Expression = Callable[[Values], float]


class ExpressionError(ValueError):
    """What is wrong, for the person who wrote the program; the caller knows the line."""


_NUMBER: Final = re.compile(r"[+-]?(?:[0-9]+\.?[0-9]*|\.[0-9]+)")
_NAME: Final = re.compile(r"<([^<>]+)>")
_OPERATOR: Final = re.compile(r"\*\*|[*/+-]|MOD|AND|X?OR|EQ|NE|G[TE]|L[TE]")
_FUNCTION: Final = re.compile(r"ABS|ACOS|ASIN|ATAN|COS|EXISTS|EXP|FIX|FUP|LN|ROUND|SIN|SQRT|TAN")
_LOGIC: Final = frozenset(("AND", "OR", "XOR"))
_COMPARE: Final = frozenset(("EQ", "NE", "GT", "GE", "LT", "LE"))
_INTEGER_WITHIN: Final = 1e-4  # NISTIR 6556, 3.3.2.1


def _modulo(a: float, b: float) -> float:
    """Never below zero, whatever the signs (the interpreter of NISTIR 6556)."""
    rest = math.fmod(a, b)
    return rest + abs(b) if rest < 0 else rest


def _power(a: float, b: float) -> float:
    if a < 0 and b != int(b):
        raise ExpressionError(said("{a:g} to the power of {b:g} is no number", a=a, b=b))
    return float(a**b)


_BINARY: Final[dict[str, tuple[int, Callable[[float, float], float]]]] = {
    "**": (4, _power),
    "*": (3, operator.mul), "/": (3, operator.truediv), "MOD": (3, _modulo),
    "+": (2, operator.add), "-": (2, operator.sub),
    "AND": (2, lambda a, b: float(bool(a) and bool(b))),
    "OR": (2, lambda a, b: float(bool(a) or bool(b))),
    "XOR": (2, lambda a, b: float(bool(a) != bool(b))),
    "EQ": (1, lambda a, b: float(abs(a - b) < 1e-9)),
    "NE": (1, lambda a, b: float(abs(a - b) >= 1e-9)),
    "GT": (1, lambda a, b: float(a > b)), "GE": (1, lambda a, b: float(a >= b)),
    "LT": (1, lambda a, b: float(a < b)), "LE": (1, lambda a, b: float(a <= b)),
}  # fmt: skip

_UNARY: Final[dict[str, Callable[[float], float]]] = {
    "ABS": abs, "EXP": math.exp, "LN": math.log, "SQRT": math.sqrt,
    "ACOS": lambda x: math.degrees(math.acos(x)), "ASIN": lambda x: math.degrees(math.asin(x)),
    "COS": lambda x: math.cos(math.radians(x)), "SIN": lambda x: math.sin(math.radians(x)),
    "TAN": lambda x: math.tan(math.radians(x)), "ATAN": lambda x: math.degrees(math.atan(x)),
    "FIX": lambda x: float(math.floor(x)), "FUP": lambda x: float(math.ceil(x)),
    "ROUND": lambda x: float(math.floor(x + 0.5)),
}  # fmt: skip


class Reader:
    """Reads real values of one line (upper-case, no blanks) from ``at`` on."""

    def __init__(self, text: str, at: int = 0) -> None:
        self.text = text
        self.at = at
        self._depth = 0

    def peek(self, what: str) -> bool:
        return self.text.startswith(what, self.at)

    def take(self, what: str) -> None:
        if not self.peek(what):
            shown = self.text[self.at : self.at + 12]
            raise ExpressionError(
                said("{what} is missing before {shown}", what=what, shown=shown)
                if shown
                else said("{what} is missing", what=what)
            )
        self.at += len(what)

    def number(self) -> float | None:
        """A number that stands here, None where something else does."""
        found = _NUMBER.match(self.text, self.at)
        if found is None:
            return None
        self.at = found.end()
        value = float(found[0])
        if not math.isfinite(value):
            raise ExpressionError(
                said("a number too large to use: {shown}...", shown=found[0][:12])
            )
        return value

    def value(self) -> float | Expression:
        """A number, or what works one out."""
        number = self.number()
        return number if number is not None else self.real()

    def real(self) -> Expression:
        number = self.number()
        if number is not None:
            return lambda values: number
        if self.peek("+") or self.peek("-"):
            minus = self.text[self.at] == "-"
            self.at += 1
            of = self.real()
            return (lambda values: -of(values)) if minus else of
        if self.peek("#"):
            return _variable(self.key())
        if self.peek("["):
            return self.bracket()
        found = _FUNCTION.match(self.text, self.at)
        if found is None:
            shown = self.text[self.at : self.at + 12]
            raise ExpressionError(
                said("no number, variable or [ at {shown}", shown=shown)
                if shown
                else said("a number is missing")
            )
        self.at = found.end()
        return self._function(found[0])

    def key(self) -> Expression | Key:
        """The variable after a ``#``: its number or name, or what works the number out."""
        self.take("#")
        name = _NAME.match(self.text, self.at)
        if name is not None:
            self.at = name.end()
            return name[1]
        of = self.value()
        return of if callable(of) else _index(of)

    def bracket(self) -> Expression:
        self.take("[")
        self._depth += 1
        if self._depth > DEEPEST:
            raise ExpressionError(said("brackets stand more than {deepest} deep", deepest=DEEPEST))
        of = self._operations()
        self.take("]")
        self._depth -= 1
        return of

    def _function(self, name: str) -> Expression:
        if name == "EXISTS":
            self.take("[")
            key = self.key()
            self.take("]")
            return lambda values: float(values.known(_key(key, values)))
        of = self.bracket()
        if name == "ATAN" and self.peek("/"):
            self.at += 1
            x = self.bracket()
            return lambda values: math.degrees(math.atan2(of(values), x(values)))
        function = _UNARY[name]
        return lambda values: _worked(function, name, of(values))

    def _operations(self) -> Expression:
        parts: list[Expression] = [self.real()]
        signs: list[str] = []
        while found := _OPERATOR.match(self.text, self.at):
            self.at = found.end()
            signs.append(found[0])
            parts.append(self.real())
        ranks = [_BINARY[sign][0] for sign in signs]
        if not _COMPARE.isdisjoint(signs):
            ranks = [0 if sign in _LOGIC else rank for sign, rank in zip(signs, ranks, strict=True)]
        for rank in (4, 3, 2, 1, 0):
            at = 0
            while at < len(signs):
                if ranks[at] != rank:
                    at += 1
                    continue
                parts[at : at + 2] = [_joined(signs[at], parts[at], parts[at + 1])]
                del signs[at], ranks[at]
        return parts[0]


def evaluate(of: float | Expression, values: Values) -> float:
    """The number, finite. Raises ``ExpressionError``."""
    if not callable(of):
        return of
    try:
        number = of(values)
    except ZeroDivisionError:
        raise ExpressionError(said("something is divided by zero")) from None
    except (OverflowError, ValueError) as error:
        if isinstance(error, ExpressionError):
            raise
        raise ExpressionError(said("an expression has no finite value")) from None
    if not math.isfinite(number):
        raise ExpressionError(said("an expression has no finite value"))
    return number


def _key(key: Expression | Key, values: Values) -> Key:
    return _index(key(values)) if callable(key) else key


def _index(number: float) -> int:
    whole = round(number)
    if abs(number - whole) > _INTEGER_WITHIN or whole < 0:
        raise ExpressionError(
            said("#{number:g} is no variable: its number must be whole", number=number)
        )
    return whole


def _variable(key: Expression | Key) -> Expression:
    if callable(key):
        return lambda values: values.get(_index(key(values)))
    return lambda values: values.get(key)


def _joined(sign: str, a: Expression, b: Expression) -> Expression:
    of = _BINARY[sign][1]
    return lambda values: of(a(values), b(values))


def _worked(function: Callable[[float], float], name: str, of: float) -> float:
    try:
        return function(of)
    except ValueError:
        raise ExpressionError(said("{name} of {of:g} is no number", name=name, of=of)) from None
