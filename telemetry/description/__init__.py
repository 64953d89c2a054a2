"""The description of a feed: TOML text, read into types, with its versions."""

from __future__ import annotations

from telemetry.description.parse import (
    Description,
    Knows,
    Line,
    Source,
    Time,
    parse_description,
    read_description,
)

__all__ = [
    "Description",
    "Knows",
    "Line",
    "Source",
    "Time",
    "parse_description",
    "read_description",
]
