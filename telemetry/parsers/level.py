"""A contact's level a line: bare, or in columns with a running number, a stamp and a torch, and
with the torch's pierce counter and its amps.

The signal field is the level's word; what is an edge is decided once the lines are in order.
"""

from __future__ import annotations

from contextlib import suppress

from telemetry.description import Description
from telemetry.description.parse import LEVEL_BESIDE
from telemetry.errors import ParseError
from telemetry.parsers.base import Fields
from telemetry.parsers.numbers import decimal, reading
from telemetry.said import said


class LevelParser:
    """Fields of a level line."""

    layout: list[str] | None = None

    def __init__(self, description: Description) -> None:
        line = description.line
        self._separator, self._decimal, self._counts_to = (
            line.separator, line.decimal, line.counts_to
        )  # fmt: skip
        columns = line.columns
        self._width = self._least = len(columns)
        while columns[self._least - 1] in LEVEL_BESIDE:  # a line may end before them
            self._least -= 1
        places = {name: at for at, name in enumerate(columns)}
        self._level = places["level"]
        self._seq, self._time = places.get("seq", -1), places.get("time", -1)
        self._torch = places.get("torch", -1)
        self._pierces, self._amps = places.get("pierces", -1), places.get("amps", -1)

    def parse(self, text: str) -> Fields:
        """The fields of one line."""
        if self._width == 1:
            return None, None, text, None, None
        fields = self._split(text)
        return (
            fields[self._seq], fields[self._time], fields[self._level], None, fields[self._torch]
        )  # fmt: skip

    def beside(self, text: str) -> tuple[float | None, str | None]:
        """What a line says beside its level: amps, and the digits of its pierce counter. None where
        it leaves them empty or what it says is none: that makes its level no less good."""
        fields = self._split(text)
        amps = digits = None
        with suppress(ParseError):
            amps = decimal(fields[self._amps], self._decimal)
        with suppress(ParseError):
            digits = reading(fields[self._pierces], self._counts_to)
        return amps, digits

    def take_header(self, text: str) -> bool:
        """True for a line of the stated column names."""
        names = [name.strip().lower() for name in text.split(self._separator)]
        return len(names) == self._width > 1 and names[self._level] in ("level", "signal", "value")

    def use_layout(self, layout: list[str] | None) -> None:
        """Nothing to put back."""

    def _split(self, text: str) -> list[str | None]:
        """The columns, and behind them None: what a column that is not stated (place -1) reads."""
        fields: list[str | None] = list(text.split(self._separator))
        count = len(fields)
        if not self._least <= count <= self._width:
            raise ParseError(
                "too few columns" if count < self._least else "too many columns",
                said("{count} columns, stated {width}", count=count, width=self._width),
            )
        fields += [None] * (self._width + 1 - count)
        return fields
