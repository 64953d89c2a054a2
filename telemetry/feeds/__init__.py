"""Where bytes come from, one folder a kind; what they mean is the parsers' business.

A kind is imported on first use. To add one: its folder, a line here, a folder of cases under
fixtures/feeds, a row in DEVELOPERS.md.
"""

from __future__ import annotations

from importlib import import_module

from telemetry.description import Description
from telemetry.feeds.base import ByteSource

FEEDS: dict[str, tuple[str, str]] = {
    "serial": ("Serial port", "telemetry.feeds.serial.feed.SerialFeed"),
    "csv_file": ("CSV file", "telemetry.feeds.csv_file.feed.CsvFileFeed"),
    "csv_folder": ("Folder of CSV files", "telemetry.feeds.csv_folder.feed.CsvFolderFeed"),
    "push": ("Pushed lines", "telemetry.feeds.push.feed.PushFeed"),
}

__all__ = ["FEEDS", "ByteSource", "make_source"]


def make_source(description: Description, *, name: str) -> ByteSource:
    """The source a description names; opens nothing."""
    _, dotted = FEEDS[description.source.kind]
    module, _, cls = dotted.rpartition(".")
    source: ByteSource = getattr(import_module(module), cls)(description, name=name)
    return source
