"""Lines of separated columns, in a stated order.

With a comma as separator a field may be quoted as in RFC 4180; a line break inside quotes is
not taken, a line is a line. Columns after the last needed one may be left out; more columns
than stated are refused unless they are empty.

A header is recognised anywhere in the input: a line whose fields are the stated column names
(capitals do not matter, `ignore` stands for any name). Its order then holds for the lines after
it, so a file with its columns moved about is read right.
"""

from __future__ import annotations

import csv
from collections.abc import Callable
from operator import itemgetter

from telemetry.description import Description
from telemetry.errors import ParseError
from telemetry.parsers.base import FIELDS, Fields
from telemetry.said import said


class ColumnsParser:
    """Fields by the place of their column."""

    def __init__(self, description: Description) -> None:
        self._separator = description.line.separator
        self._needed = {"signal"}
        if not description.times_from_arrival:
            self._needed.add("time")
        if description.has_seq:
            self._needed.add("seq")
        self._stated = list(description.line.columns)
        self._places(self._stated)

    def parse(self, text: str) -> Fields:
        """The fields of one line."""
        fields: list[str | None] = list(self._split(text))
        count = len(fields)
        if count != self._width:
            if count < self._least:
                raise ParseError(
                    "too few columns",
                    said("{count} columns, needs {least}", count=count, least=self._least),
                )
            if count > self._width and any(fields[self._width :]):
                raise ParseError(
                    "too many columns",
                    said("{count} columns, stated {width}", count=count, width=self._width),
                )
            fields = fields[: self._width] + [None] * (self._width - count)
        fields.append(None)  # what a column that is not stated (place -1) reads
        return self._pick(fields)

    def take_header(self, text: str) -> bool:
        """True for a header line, whose order then holds."""
        try:
            names = [name.strip().lower() for name in self._split(text)]
        except ParseError:
            return False
        known = [name for name in self._stated if name != "ignore"]
        if len(names) > len(self._stated) or any(names.count(name) != 1 for name in known):
            return False
        self._places([name if name in known else "ignore" for name in names])
        return True

    @property
    def layout(self) -> list[str] | None:
        """The column order in force."""
        return self._layout

    def use_layout(self, layout: list[str] | None) -> None:
        """Put a column order of a checkpoint back in force."""
        if layout is not None:
            self._places(layout)

    def _places(self, layout: list[str]) -> None:
        def place(name: str) -> int:
            return layout.index(name) if name in layout else -1

        self._layout = layout
        self._width = len(layout)
        self._least = 1 + max(place(name) for name in self._needed)
        self._pick: Callable[[list[str | None]], Fields] = itemgetter(*map(place, FIELDS))

    def _split(self, text: str) -> list[str]:
        if '"' not in text or self._separator != ",":
            return text.split(self._separator)
        try:
            return next(csv.reader([text], strict=True))
        except (csv.Error, StopIteration) as error:
            raise ParseError("bad quoting", str(error)) from error
