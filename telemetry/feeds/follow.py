"""Follows one growing file: what is new in it, through rotation, truncation and re-export."""

from __future__ import annotations

import hashlib
import os
import time
from dataclasses import dataclass
from pathlib import Path
from typing import Any, BinaryIO

from telemetry.errors import NotAllowed
from telemetry.feeds.base import BLOCK_BYTES, Chunk
from telemetry.journal import Kind
from telemetry.limits import Limits

HEAD_BYTES = 1024
_TAIL_BYTES = 4096
_STEPS = (64, 128, 256, 512)  # lengths of the head that are known by a hash of their own
_SETTLE_S = 1.0  # a file being written anew is given so long to show what it is


@dataclass(slots=True)
class Place:
    """How far one generation of a file has been read, and enough of it to know it again."""

    generation: int = 1
    device: int = 0
    inode: str = ""
    fingerprint: str = ""  # "<length>:<hash>,..." of its first bytes
    byte_offset: int = 0
    prefix_hash: str = ""


def place_of(row: dict[str, Any]) -> Place:
    return Place(**{name: row[name] for name in Place.__slots__})


class FollowedFile:
    """One path. `turn` gives what can be read now; only whole lines are taken."""

    def __init__(self, path: Path, place: Place | None, limits: Limits) -> None:
        self._path, self._limits = path, limits
        self._place = place or Place()
        self._handle: BinaryIO | None = None
        self._hash: Any = None
        self._tail = b""
        self._resuming = place is not None and place.byte_offset > 0
        self._doubtful_since: float | None = None

    @property
    def unsettled(self) -> bool:
        """True while it cannot be told what a replaced file is."""
        return self._doubtful_since is not None

    def turn(self) -> list[Chunk]:
        """Next chunk or two; empty where nothing is new. Raises OSError if it cannot be read,
        NotAllowed if it may not be."""
        chunks = [] if self._handle is not None else self._open()
        if self._handle is None:
            return chunks
        body = self._read_lines() if self._tail_stands(self._handle) else b""
        if body:
            return [*chunks, self._chunk(body)]
        return chunks + self._look_for_change()

    def rest(self) -> list[Chunk]:
        """The unfinished last line of a file that is finished."""
        if self._handle is None:
            return []
        self._handle.seek(self._place.byte_offset)
        body = self._handle.read(BLOCK_BYTES)
        return [self._chunk(body), Chunk(Kind.END)] if body else []

    def close(self) -> None:
        if self._handle is not None:
            self._handle.close()
            self._handle = None
            self._resuming = self._place.byte_offset > 0

    def _open(self) -> list[Chunk]:
        try:
            handle = self._limits.open_file(self._path)
        except FileNotFoundError:
            return self._finish_rotated() if self._resuming else []
        status = os.fstat(handle.fileno())
        place = self._place
        if not self._resuming:
            self._begin(handle, status, place.generation)
            return []
        same = str(status.st_ino) == place.inode and status.st_dev == place.device
        if self._holds_prefix(handle, status.st_size):
            # The same content, perhaps under another inode (a copy put back): go on behind it.
            self._resuming = False
            self._handle = handle
            place.device, place.inode = status.st_dev, str(status.st_ino)
            return []
        if not same:
            chunks = self._finish_rotated()
            if chunks:
                handle.close()
                return chunks
        return self._renew(handle, status)

    def _finish_rotated(self) -> list[Chunk]:
        """The rest of a file that was renamed while nobody looked, found by inode and content."""
        for other in sorted(self._path.parent.iterdir()):
            try:
                status = other.stat()
                if str(status.st_ino) != self._place.inode or other == self._path:
                    continue
                handle = self._limits.open_file(other)
            except (OSError, NotAllowed):
                continue
            if self._holds_prefix(handle, status.st_size):
                self._handle = handle
                self._resuming = False
                return [self._chunk(body)] if (body := self._read_lines()) else []
            handle.close()
        return []

    def _holds_prefix(self, handle: BinaryIO, size: int) -> bool:
        """Whether what was read before still stands at the start of this file."""
        offset = self._place.byte_offset
        if size < offset:
            return False
        digest = hashlib.blake2b(digest_size=16)
        handle.seek(0)
        left, tail = offset, b""
        while left:
            block = handle.read(min(left, 1 << 20))
            if not block:
                return False
            digest.update(block)
            tail = (tail + block)[-_TAIL_BYTES:]
            left -= len(block)
        if digest.hexdigest() != self._place.prefix_hash:
            return False
        self._hash, self._tail = digest, tail
        return True

    def _look_for_change(self) -> list[Chunk]:
        """At the end of what is open: has the path come to mean another file, or shrunk?"""
        handle, place = self._handle, self._place
        if handle is None:
            return []
        try:
            status = self._path.stat()
        except FileNotFoundError:
            return []
        same = str(status.st_ino) == place.inode and status.st_dev == place.device
        if same and status.st_size >= place.byte_offset and self._tail_stands(handle):
            return []
        fresh = self._limits.open_file(self._path)
        return self._renew(fresh, os.fstat(fresh.fileno()))

    def _tail_stands(self, handle: BinaryIO) -> bool:
        handle.seek(self._place.byte_offset - len(self._tail))
        return handle.read(len(self._tail)) == self._tail

    def _renew(self, fresh: BinaryIO, status: os.stat_result) -> list[Chunk]:
        """A new generation. The same beginning means the same file exported again: what is known
        counts nowhere. Another beginning means the file was rotated: its lines go on."""
        fresh.seek(0)
        verdict = _compare(fresh.read(HEAD_BYTES), self._place.fingerprint)
        if verdict == "unsure":
            now = time.monotonic()
            self._doubtful_since = self._doubtful_since or now
            if status.st_size == 0 or now - self._doubtful_since < _SETTLE_S:
                fresh.close()
                if status.st_size == 0:
                    self._doubtful_since = None
                return []
        if self._handle is not None:
            self._handle.close()
        self._begin(fresh, status, self._place.generation + 1)
        return [Chunk(Kind.OPENED, {"fresh": True} if verdict == "again" else {"rotated": True})]

    def _begin(self, handle: BinaryIO, status: os.stat_result, generation: int) -> None:
        self._handle = handle
        self._hash, self._tail = hashlib.blake2b(digest_size=16), b""
        self._place = Place(generation, status.st_dev, str(status.st_ino))
        self._resuming = False
        self._doubtful_since = None

    def _read_lines(self) -> bytes:
        if self._handle is None:
            return b""
        self._handle.seek(self._place.byte_offset)
        body = self._handle.read(BLOCK_BYTES)
        end = body.rfind(b"\n") + 1
        # A line longer than a block goes on as it is; the decoder refuses it with bounded memory.
        return body[:end] if end or len(body) < BLOCK_BYTES else body

    def _chunk(self, body: bytes) -> Chunk:
        place = self._place
        at = place.byte_offset
        if at < HEAD_BYTES and self._handle is not None:
            self._handle.seek(0)
            head = self._handle.read(min(HEAD_BYTES, at + len(body)))
            place.fingerprint = _fingerprint(head)
        self._hash.update(body)
        self._tail = (self._tail + body)[-_TAIL_BYTES:]
        place.byte_offset = at + len(body)
        place.prefix_hash = self._hash.copy().hexdigest()
        file = {
            "device": place.device,
            "inode": place.inode,
            "fingerprint": place.fingerprint,
            "prefix_hash": place.prefix_hash,
        }
        meta = {
            "source": f"{self._path.name}#{place.generation}",
            "at": at,
            "path": str(self._path),
            "generation": place.generation,
            "file": file,
        }
        return Chunk(Kind.DATA, meta, body)


def _fingerprint(head: bytes) -> str:
    """Hashes of the head at a few lengths, the longest last."""
    lengths = [step for step in _STEPS if step < len(head)] + [len(head)]
    return ",".join(f"{length}:{_hash(head[:length])}" for length in lengths)


def _compare(head: bytes, fingerprint: str) -> str:
    """`again` where this is the known beginning, `other` where it is not, `unsure` where too
    little of it is there."""
    steps = [step.split(":") for step in fingerprint.split(",") if step]
    for length, known in reversed(steps):
        if len(head) >= int(length):
            if _hash(head[: int(length)]) != known:
                return "other"
            return "again" if length == steps[-1][0] else "unsure"
    return "unsure" if steps else "other"


def _hash(data: bytes) -> str:
    return hashlib.blake2b(data, digest_size=8).hexdigest()
