"""The file itself: written piece by piece, sealed, and checked before anything believes it."""

from __future__ import annotations

import hashlib
import json
import os
import re
import zipfile
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import datetime
from pathlib import Path
from typing import IO, Any

FORMAT = 1
MANIFEST = "manifest.json"
MANIFEST_MOST = 64 * 1024 * 1024
_SEAL = b"Kerfbook backup sha256:"
_SEAL_BYTES = len(_SEAL) + 64
_SEALED = re.compile(re.escape(_SEAL) + rb"[0-9a-f]{64}")
_LEVEL = 3  # a third slower than 1 and a tenth smaller; 6 takes twice as long for little more
PIECE = 1024 * 1024


class BackupError(Exception):
    """A backup that cannot be made or taken; one line for the person who asked."""


class Writer:
    """Writes members, then the manifest, then the seal."""

    def __init__(self, handle: IO[bytes], at: datetime) -> None:
        self._handle = handle
        self._date = (at.year, at.month, at.day, at.hour, at.minute, at.second)
        self._zip = zipfile.ZipFile(handle, "w", compresslevel=_LEVEL)

    @contextmanager
    def member(self, name: str) -> Iterator[Member]:
        info = zipfile.ZipInfo(name, self._date)
        info.external_attr = 0o600 << 16
        if not name.endswith(".gz"):
            info.compress_type = zipfile.ZIP_DEFLATED
        with self._zip.open(info, "w", force_zip64=True) as out:
            yield Member(name, out)

    def finish(self, manifest: dict[str, Any]) -> None:
        """Everything is on disk, and reads as it was written, once this returns."""
        with self.member(MANIFEST) as out:
            out.write(json.dumps(manifest, indent=1).encode())
        self._zip.comment = _SEAL + b"0" * 64
        self._zip.close()
        self._handle.flush()
        digest, end = _digest(self._handle)
        self._handle.seek(end)
        self._handle.write(_SEAL + digest)
        self._handle.flush()
        os.fsync(self._handle.fileno())

    def drop(self) -> None:
        """Writes no more: what was begun is thrown away."""
        self._zip.fp = None


class Member:
    """One member being written, counted and summed on the way."""

    def __init__(self, name: str, out: IO[bytes]) -> None:
        self._name, self._out, self._sum, self._bytes = name, out, hashlib.sha256(), 0

    def write(self, data: bytes) -> None:
        self._out.write(data)
        self._sum.update(data)
        self._bytes += len(data)

    def entry(self) -> dict[str, Any]:
        return {"name": self._name, "bytes": self._bytes, "sha256": self._sum.hexdigest()}


class Reader:
    """A backup whose every byte was checked. Raises BackupError naming what is wrong."""

    def __init__(self, handle: IO[bytes], name: str) -> None:
        self._name = name
        self._check_seal(handle)
        try:
            self._zip = zipfile.ZipFile(handle)
            self.manifest = self._manifest()
            self._check_members()
        except BackupError:
            raise
        except (zipfile.BadZipFile, OSError, ValueError, KeyError, TypeError) as problem:
            raise self.wrong(f"cannot be read as a backup: {problem}") from problem

    def wrong(self, why: str) -> BackupError:
        shown = "".join(sign if sign.isprintable() else "?" for sign in why)
        return BackupError(f"{self._name}: {shown}")

    def open(self, name: str) -> IO[bytes]:
        return self._zip.open(name)

    def entries(self) -> list[dict[str, Any]]:
        return [*self.manifest["tables"], *self.manifest["files"]]

    def _check_seal(self, handle: IO[bytes]) -> None:
        handle.seek(0)
        begins = handle.read(4)
        size = handle.seek(0, os.SEEK_END)
        handle.seek(max(0, size - _SEAL_BYTES))
        seal = handle.read()
        if begins != b"PK\x03\x04":
            raise self.wrong("is not a backup of Kerfbook, or altered at its first bytes")
        if not _SEALED.fullmatch(seal):
            raise self.wrong(f"is cut short or altered at its end, byte {size}")
        if _digest(handle)[0] != seal[len(_SEAL) :]:
            raise self.wrong(f"was altered: {_where(handle)} does not match its checksum")

    def _manifest(self) -> dict[str, Any]:
        found = self._zip.infolist()
        if not found or found[-1].filename != MANIFEST or found[-1].file_size > MANIFEST_MOST:
            raise self.wrong(f"has no {MANIFEST} at its end")
        manifest = json.loads(self._zip.read(MANIFEST))
        if not isinstance(manifest, dict) or not isinstance(manifest.get("format"), int):
            raise self.wrong(f"{MANIFEST} says no format")
        if manifest["format"] > FORMAT:
            raise self.wrong(
                f"is of format {manifest['format']}, made by a newer Kerfbook; "
                f"this one reads up to {FORMAT}"
            )
        return manifest

    def _check_members(self) -> None:
        there = {info.filename: info for info in self._zip.infolist()[:-1]}
        wanted = [entry["name"] for entry in self.entries()]
        if len(there) != len(self._zip.infolist()) - 1 or len(set(wanted)) != len(wanted):
            raise self.wrong("names a member twice")
        if odd := sorted(set(there) ^ set(wanted)):
            raise self.wrong(f"{odd[0]}: is in only one of file and manifest")
        packed = sum(info.compress_size for info in there.values())
        if packed > os.fstat(self._zip.fp.fileno()).st_size:  # type: ignore[union-attr]
            raise self.wrong("its members overlap")
        for table in self.manifest["tables"]:
            if table["name"] != f"tables/{table['table']}.copy":
                raise self.wrong(f"{table['name']}: is not a table's place")
        for entry in self.manifest["files"]:
            if not allowed(entry["name"]):
                raise self.wrong(f"{entry['name']}: is not a place in a data folder")
        for entry in self.entries():
            if there[entry["name"]].file_size != entry["bytes"]:
                raise self.wrong(f"{entry['name']}: is not as long as the manifest says")
            self._check_member(entry)

    def _check_member(self, entry: dict[str, Any]) -> None:
        total, rows, digest = 0, 0, hashlib.sha256()
        with self._zip.open(entry["name"]) as handle:
            while piece := handle.read(PIECE):
                digest.update(piece)
                total += len(piece)
                rows += piece.count(b"\n")
        if (total, digest.hexdigest()) != (entry["bytes"], entry["sha256"]):
            raise self.wrong(f"{entry['name']}: does not match its checksum")
        if "rows" in entry and rows != entry["rows"]:
            raise self.wrong(f"{entry['name']}: holds {rows} rows, not {entry['rows']}")


ROOTS = ("journal", "uploads", "files")
KEY = "secret.key"


def allowed(name: str) -> bool:
    """Whether a member may become that file below a data folder."""
    if not isinstance(name, str) or any(ord(sign) < 32 or sign in "\\:" for sign in name):
        return False
    parts = name.split("/")
    if any(part in {"", ".", ".."} for part in parts):
        return False
    return name == KEY or (len(parts) > 1 and parts[0] in ROOTS)


@contextmanager
def reading(path: Path) -> Iterator[Reader]:
    """Opens and checks a backup."""
    if str(path) == "-" or path.is_dir():
        raise BackupError(f"{path}: is not a file; a backup is one file")
    try:
        handle = path.open("rb")
    except OSError as problem:
        raise BackupError(f"{path}: {problem.strerror}") from problem
    with handle:
        yield Reader(handle, str(path))


def is_backup(path: Path) -> bool:
    """Whether the file ends as a backup does; what lies before is not looked at."""
    with path.open("rb") as handle:
        size = handle.seek(0, os.SEEK_END)
        handle.seek(max(0, size - _SEAL_BYTES))
        return bool(_SEALED.fullmatch(handle.read()))


def _digest(handle: IO[bytes]) -> tuple[bytes, int]:
    """Of everything before the seal, and where that begins."""
    end = handle.seek(0, os.SEEK_END) - _SEAL_BYTES
    handle.seek(0)
    left, digest = end, hashlib.sha256()
    while left > 0 and (piece := handle.read(min(PIECE, left))):
        digest.update(piece)
        left -= len(piece)
    return digest.hexdigest().encode(), end


def _where(handle: IO[bytes]) -> str:
    """The first member that no longer reads, for whoever looks for the cause."""
    try:
        with zipfile.ZipFile(handle) as found:
            broken = (one.filename for one in found.infolist() if not _reads(found, one))
            return next(broken, "something between its members")
    except Exception:  # whatever the library makes of altered bytes
        return "its directory"


def _reads(archive: zipfile.ZipFile, member: zipfile.ZipInfo) -> bool:
    try:
        with archive.open(member) as handle:
            while handle.read(PIECE):
                pass
    except Exception:  # a wrong checksum, or whatever unpacking makes of altered bytes
        return False
    return True
