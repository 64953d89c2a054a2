"""Where bytes come from, one folder a kind; what they mean is the parsers' business.

A kind is imported on first use. To add one: its folder, a line here, a folder of cases under
fixtures/feeds, a row in DEVELOPERS.md.
"""

from __future__ import annotations

import re
from importlib import import_module

from telemetry.description import Description
from telemetry.errors import DescriptionError, NotAllowed
from telemetry.feeds.base import ByteSource
from telemetry.feeds.limits import Limits
from telemetry.said import noop as N_
from telemetry.said import said

FEEDS: dict[str, tuple[str, str]] = {
    "serial": (N_("Serial port"), "telemetry.feeds.serial.feed.SerialFeed"),
    "csv_file": (N_("CSV file"), "telemetry.feeds.csv_file.feed.CsvFileFeed"),
    "csv_folder": (N_("Folder of CSV files"), "telemetry.feeds.csv_folder.feed.CsvFolderFeed"),
    "push": (N_("Pushed lines"), "telemetry.feeds.push.feed.PushFeed"),
}

__all__ = ["FEEDS", "ByteSource", "check_source", "make_source"]


def make_source(description: Description, *, name: str, limits: Limits | None = None) -> ByteSource:
    """The source a description names; opens nothing. `limits` None: those of the shop."""
    _, dotted = FEEDS[description.source.kind]
    module, _, cls = dotted.rpartition(".")
    source: ByteSource = getattr(import_module(module), cls)(
        description, name=name, limits=limits or Limits.of_shop()
    )
    return source


def check_source(description: Description, *, name: str, text: str) -> None:
    """Whether a description written as `text` may be registered. Raises DescriptionError."""
    make_source(description, name=name).check()
    try:
        Limits.of_shop().check(description.source)
    except NotAllowed as problem:
        line = _line_of("port" if description.source.kind == "serial" else "path", text)
        at = f"{name}:{line}"
        raise DescriptionError(said("{at}: {what}", at=at, what=problem.said)) from problem


def _line_of(key: str, text: str) -> int:
    lines = enumerate(text.splitlines(), 1)
    return next((n for n, line in lines if re.match(rf"\s*{key}\s*=", line)), 1)
