"""A contact's level a line: bare, or in columns with a running number, a stamp and a torch.

The signal field is the level's word; what is an edge is decided once the lines are in order.
"""

from __future__ import annotations

from telemetry.description import Description
from telemetry.errors import ParseError
from telemetry.parsers.base import Fields


class LevelParser:
    """Fields of a level line."""

    layout: list[str] | None = None

    def __init__(self, description: Description) -> None:
        self._separator = description.line.separator
        columns = description.line.columns
        self._width = len(columns)
        self._level = columns.index("level")
        self._seq = columns.index("seq") if "seq" in columns else -1
        self._time = columns.index("time") if "time" in columns else -1
        self._torch = columns.index("torch") if "torch" in columns else -1

    def parse(self, text: str) -> Fields:
        """The fields of one line."""
        if self._width == 1:
            return None, None, text, None, None
        fields: list[str | None] = list(text.split(self._separator))
        if len(fields) != self._width:
            reason = "too few columns" if len(fields) < self._width else "too many columns"
            raise ParseError(reason, f"{len(fields)} columns, stated {self._width}")
        fields.append(None)
        return (
            fields[self._seq], fields[self._time], fields[self._level], None, fields[self._torch]
        )  # fmt: skip

    def take_header(self, text: str) -> bool:
        """True for a line of the stated column names."""
        names = [name.strip().lower() for name in text.split(self._separator)]
        return len(names) == self._width > 1 and names[self._level] in ("level", "signal", "value")

    def use_layout(self, layout: list[str] | None) -> None:
        """Nothing to put back."""
