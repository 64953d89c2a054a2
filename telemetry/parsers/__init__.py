"""One file per line format. To add one: the file, and one line in PARSERS."""

from __future__ import annotations

from collections.abc import Callable
from importlib import import_module
from typing import Final, cast

from telemetry.description import Description
from telemetry.parsers.base import Parser

PARSERS: Final = {
    "columns": "telemetry.parsers.columns.ColumnsParser",
    "pairs": "telemetry.parsers.pairs.PairsParser",
    "json": "telemetry.parsers.json_lines.JsonParser",
    "level": "telemetry.parsers.level.LevelParser",
}


def make_parser(description: Description) -> Parser:
    """The parser for the description's line format, imported on first use."""
    module, _, name = PARSERS[description.line.format].rpartition(".")
    make = cast(Callable[[Description], Parser], getattr(import_module(module), name))
    return make(description)
