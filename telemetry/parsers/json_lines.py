"""One JSON object a line; names that are not listed are passed over.

Numbers are taken as written, never through a float, so a stamp or seq keeps its digits.
"""

from __future__ import annotations

import json
from typing import Any

from telemetry.description import Description
from telemetry.errors import ParseError
from telemetry.parsers.base import FIELDS, Fields
from telemetry.said import said


def _no_constant(word: str) -> Any:
    raise ValueError(f"{word} is not a JSON value")


class JsonParser:
    """Fields by the name of their member."""

    layout: list[str] | None = None

    def __init__(self, description: Description) -> None:
        names = description.line.names
        self._names = [names.get(name) for name in FIELDS]
        decoder = json.JSONDecoder(parse_float=str, parse_int=str, parse_constant=_no_constant)
        self._decode = decoder.decode

    def parse(self, text: str) -> Fields:
        """The fields of one line."""
        try:
            found = self._decode(text)
        except (ValueError, RecursionError) as error:
            raise ParseError("bad json", str(error)) from error
        if not isinstance(found, dict):
            raise ParseError("bad json", said("not an object"))
        values = [found.get(name) for name in self._names]
        if any(not (value is None or isinstance(value, str)) for value in values):
            raise ParseError("bad json", said("a listed member is neither text nor a number"))
        seq, time, signal, value, torch = values
        return seq, time, signal, value, torch

    def take_header(self, text: str) -> bool:
        """Members name themselves; there is no header."""
        return False

    def use_layout(self, layout: list[str] | None) -> None:
        """Nothing to put back."""
