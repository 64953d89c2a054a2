"""Lines of NAME=VALUE pairs in any order; names that are not listed are passed over."""

from __future__ import annotations

from telemetry.description import Description
from telemetry.errors import ParseError
from telemetry.parsers.base import FIELDS, Fields
from telemetry.said import said


class PairsParser:
    """Fields by the name of their pair."""

    layout: list[str] | None = None

    def __init__(self, description: Description) -> None:
        self._separator = description.line.separator
        names = description.line.names
        self._names = [names.get(name) for name in FIELDS]

    def parse(self, text: str) -> Fields:
        """The fields of one line."""
        found: dict[str | None, str] = {}
        for pair in text.split(self._separator):
            name, equals, text_of = pair.partition("=")
            name = name.strip()
            if not equals:
                if not name:
                    continue
                raise ParseError("bad pair", said("no = in {name!r}", name=name))
            if name in found:
                raise ParseError("bad pair", said("{name} stands twice", name=name))
            found[name] = text_of
        seq, time, signal, value, torch = [found.get(name) for name in self._names]
        return seq, time, signal, value, torch

    def take_header(self, text: str) -> bool:
        """Pairs name themselves; there is no header."""
        return False

    def use_layout(self, layout: list[str] | None) -> None:
        """Nothing to put back."""
