"""Numbered variables, for tables whose control takes them: ``#1=12.5`` and then ``X#1``.

Source: NISTIR 6556 section 3.3.2.1. As there, a setting takes effect after its own line. Only a
number or another variable may be set; expressions in brackets are not worked out. There a variable
never set is 0; here it is refused, since a path would be guessed from it.
"""

from __future__ import annotations

import re
from decimal import Decimal

from planning.calc.program.types import ProgramError

_NUMBER = r"[+-]?(?:[0-9]+\.?[0-9]*|\.[0-9]+)"
_SET = re.compile(rf"#([0-9]+)=({_NUMBER}|[+-]?#[0-9]+)")
_USE = re.compile(r"([+-]?)#([0-9]+)")


class Variables:
    """The variables of one program as it is being read."""

    def __init__(self) -> None:
        self._values: dict[int, Decimal] = {}

    def resolve(self, line: str, number: int) -> str:
        """The line (no comments left in it) with numbers for variables and its settings taken out.

        Raises ``ProgramError`` for a variable without a value and one set to no number.
        """
        settings = [
            (int(name), Decimal(self._written(value, number))) for name, value in _SET.findall(line)
        ]
        bare = _SET.sub("", line)
        if "=" in bare:
            raise ProgramError(number, "a variable is set to something that is not a number")
        rest = self._written(bare, number)
        self._values.update(settings)
        return rest

    def _written(self, text: str, number: int) -> str:
        def value(use: re.Match[str]) -> str:
            known = self._values.get(int(use[2]))
            if known is None:
                raise ProgramError(number, f"#{use[2]} has no value before this line")
            return format(-known if use[1] == "-" else known, "f")

        return _USE.sub(value, text)
