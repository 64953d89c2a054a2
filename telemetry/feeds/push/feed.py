from __future__ import annotations

from telemetry.description import Description
from telemetry.errors import SourceError
from telemetry.feeds.base import Chunk, Known


class PushFeed:
    """Lines that another program would send. Such a feed can be described and backfilled."""

    unsettled = False
    patient = True

    def __init__(self, description: Description, *, name: str) -> None:
        self._name = name

    def check(self) -> None:
        """Nothing to configure."""

    def open(self, known: Known) -> list[Chunk]:
        raise SourceError(
            f"{self._name}: pushed lines are not taken yet",
            hint="use backfill, or a kind of serial, csv_file or csv_folder",
        )

    def read(self) -> list[Chunk]:
        return []

    def close(self) -> None:
        """Nothing is open."""
