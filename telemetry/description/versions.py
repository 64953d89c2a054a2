"""A feed's description as it stood at each moment of its journal. Pure."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from telemetry.description import Description, parse_description


@dataclass(frozen=True, slots=True)
class Versions:
    """The texts of a feed's description by version; a journal names them by number."""

    feed_name: str
    text: Callable[[int], str]
    in_force: Callable[[int], int]  # version by which lines that came at an instant were read

    def description(self, version: int) -> Description:
        return parse_description(self.text(version), name=f"{self.feed_name} version {version}")
