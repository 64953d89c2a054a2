from __future__ import annotations

import os
import time
from pathlib import Path

from telemetry.description import Description
from telemetry.errors import DescriptionError, NotAllowed, SourceError
from telemetry.feeds.base import Chunk, Known
from telemetry.feeds.follow import FollowedFile
from telemetry.feeds.limits import Limits
from telemetry.feeds.place import place_of
from telemetry.journal import Kind
from telemetry.said import said

_WAIT_S = 0.2
_FINISHED_S = 5.0  # a file that has not changed for so long is done, last line and all


class CsvFolderFeed:
    """A folder that files are dropped into. Each is read in whole, in the order they were made.

    Exports overlap: every file is read by a decoder of its own, and a line that an earlier one
    brought counts once. A name that begins with a dot or ends in `.tmp` or `.part` is still
    being written. One that may not be read (a link that leads elsewhere) is told once all the
    others have been.
    """

    patient = True
    descriptor = -1

    def __init__(self, description: Description, *, name: str, limits: Limits) -> None:
        self._path, self._name, self._limits = description.source.path, name, limits
        self._files: dict[Path, FollowedFile] = {}
        self._seen: dict[Path, tuple[int, int, float]] = {}  # size, mtime, since when (monotonic)
        self._done: dict[Path, tuple[int, int]] = {}
        self._current: Path | None = None
        self._known = Known()

    def check(self) -> None:
        if not self._path:
            raise DescriptionError(
                f"{self._name}: source.path: is missing, allowed: a folder's path"
            )

    def open(self, known: Known) -> list[Chunk]:
        folder = Path(self._path or "").absolute()
        self._limits.check_path(folder)
        if not folder.is_dir():
            raise SourceError(said("{folder}: no such folder", folder=folder), retry=True)
        self._known = known  # opened again after a fault, the files go on where they were
        return []

    def read(self) -> list[Chunk]:
        refused: NotAllowed | None = None
        try:
            for path in self._candidates():
                try:
                    chunks = self._turn(path)
                except NotAllowed as problem:
                    refused = refused or problem
                    continue
                if chunks:
                    return chunks
        except OSError as error:
            raise SourceError(f"{self._path}: {error.strerror or error}", retry=True) from error
        if refused is not None:
            raise refused
        time.sleep(_WAIT_S)
        return []

    @property
    def unsettled(self) -> bool:
        return any(file.unsettled for file in self._files.values())

    def close(self) -> None:
        for file in self._files.values():
            file.close()

    def _candidates(self) -> list[Path]:
        found = []
        for path in Path(self._path or "").absolute().iterdir():
            if path.name.startswith(".") or path.suffix in (".tmp", ".part") or not path.is_file():
                continue
            status = path.stat()
            if self._done.get(path) != (status.st_size, status.st_mtime_ns):
                found.append((status.st_mtime_ns, path))
        return [path for _, path in sorted(found)]

    def _turn(self, path: Path) -> list[Chunk]:
        file = self._files.get(path)
        if file is None:
            mine = [row for row in self._known.files if row["path"] == str(path)]
            place = place_of(mine[-1]) if mine else None
            file = self._files[path] = FollowedFile(path, place, self._limits)
        status = path.stat()
        chunks = file.turn()
        if not chunks and self._stands(path, status):
            chunks = file.rest()
            self._seen.pop(path, None)
            self._done[path] = (status.st_size, status.st_mtime_ns)
            file.close()
        if chunks and path != self._current:
            self._current = path
            if chunks[0].kind is not Kind.OPENED:
                chunks = [Chunk(Kind.OPENED, {"fresh": True}), *chunks]
        return chunks

    def _stands(self, path: Path, status: os.stat_result) -> bool:
        """Whether a file has not changed for long: by its own time, or, should this machine's
        clock have been set back since, for as long as it was watched."""
        if time.time() - status.st_mtime > _FINISHED_S:
            return True
        now = status.st_size, status.st_mtime_ns
        before = self._seen.get(path)
        if before is None or before[:2] != now:
            self._seen[path] = (*now, time.monotonic())
            return False
        return time.monotonic() - before[2] > _FINISHED_S
