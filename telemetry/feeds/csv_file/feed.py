from __future__ import annotations

import time
from pathlib import Path

from telemetry.description import Description
from telemetry.errors import DescriptionError, SourceError
from telemetry.feeds.base import Chunk, Known
from telemetry.feeds.follow import FollowedFile
from telemetry.feeds.limits import Limits
from telemetry.feeds.place import place_of
from telemetry.said import said

_WAIT_S = 0.05


class CsvFileFeed:
    """One file that grows. Renamed, truncated or written whole again, it goes on."""

    patient = True
    descriptor = -1

    def __init__(self, description: Description, *, name: str, limits: Limits) -> None:
        self._path, self._name, self._limits = description.source.path, name, limits
        self._file: FollowedFile | None = None

    def check(self) -> None:
        if not self._path:
            raise DescriptionError(f"{self._name}: source.path: is missing, allowed: a file's path")

    def open(self, known: Known) -> list[Chunk]:
        path = Path(self._path or "").absolute()
        self._limits.check_path(path)
        if not path.exists():
            raise SourceError(said("{path}: no such file", path=path), retry=True)
        if self._file is None:  # opened again after a fault it goes on where it was
            mine = [row for row in known.files if row["path"] == str(path)]
            self._file = FollowedFile(
                path,
                place_of(mine[-1]) if mine else None,
                self._limits,
                rotates=True,
                prints=[row["fingerprint"] for row in mine],
            )
        return []

    def read(self) -> list[Chunk]:
        if self._file is None:
            return []
        try:
            chunks = self._file.turn()
        except OSError as error:
            raise SourceError(f"{self._path}: {error.strerror or error}", retry=True) from error
        if not chunks:
            time.sleep(_WAIT_S)
        return chunks

    @property
    def unsettled(self) -> bool:
        return self._file is not None and self._file.unsettled

    def close(self) -> None:
        if self._file is not None:
            self._file.close()
