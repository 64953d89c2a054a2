"""Follows one growing file: what is new in it, through rotation, truncation and re-export."""

from __future__ import annotations

import hashlib
import os
import time
from collections.abc import Sequence
from pathlib import Path
from typing import Any, BinaryIO

from telemetry.errors import NotAllowed
from telemetry.feeds.base import BLOCK_BYTES, Chunk
from telemetry.feeds.limits import Limits
from telemetry.feeds.place import HEAD_BYTES, Place, compare, fingerprint_of
from telemetry.feeds.rotated import Sibling, missing_between, open_sibling, siblings_of
from telemetry.journal import Kind
from telemetry.said import said

_TAIL_BYTES = 4096
_SETTLE_S = 1.0  # a file being written anew is given so long to show what it is


class FollowedFile:
    """One path. `turn` gives what can be read now; only whole lines are taken.

    With `rotates` the files it was rotated to are read too, from the one that was being read on,
    oldest first; `prints` are the fingerprints of those read before.
    """

    def __init__(
        self,
        path: Path,
        place: Place | None,
        limits: Limits,
        *,
        rotates: bool = False,
        prints: Sequence[str] = (),
    ) -> None:
        self._path, self._limits = path, limits
        self._place = place or Place()
        self._handle: BinaryIO | None = None
        self._hash: Any = None
        self._tail = b""
        self._resuming = place is not None and place.byte_offset > 0
        self._doubtful_since: float | None = None
        self._rotates = rotates
        self._prints = [known for known in prints if known]
        self._passed: set[tuple[int, str]] = set()  # siblings that could not be read
        self._leaving_since: float | None = None  # a rotated file is at its end, and not looked at

    @property
    def unsettled(self) -> bool:
        """True while it cannot be told what a replaced file is."""
        return self._doubtful_since is not None or self._leaving_since is not None

    def turn(self) -> list[Chunk]:
        """Next chunk or two; empty where nothing is new. Raises OSError if it cannot be read,
        NotAllowed if it may not be."""
        chunks = [] if self._handle is not None else self._open()
        if self._handle is None:
            return chunks
        body = self._read_lines() if self._tail_stands(self._handle) else b""
        if body:
            self._leaving_since = None
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
            return self._resume_rotated() if self._resuming else []
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
        chunks = self._resume_rotated()
        if self._handle is not None:
            handle.close()
            return chunks
        handle.seek(0)
        other = compare(handle.read(HEAD_BYTES), place.fingerprint) == "other"
        # The inode of a deleted file is given again: what was written later beside it is read too.
        later = self._later_than_read()
        if not other or not self._rotates or (same and not later):
            return self._renew(handle, status)
        handle.close()
        return self._after_a_loss(later)

    def _resume_rotated(self) -> list[Chunk]:
        """Goes on in a file that was renamed or copied away while nobody looked, found by its
        content; the one with the inode that was read is looked at first."""
        place = self._place
        mine = [one for one in self._siblings() if one.identity == (place.device, place.inode)]
        others = [one for one in self._siblings() if one not in mine]
        for sibling in [*mine, *reversed(others)]:
            try:
                handle = open_sibling(sibling, self._limits)
            except (OSError, NotAllowed):
                continue
            size = handle.seek(0, os.SEEK_END)
            handle.seek(0)
            known = compare(handle.read(HEAD_BYTES), place.fingerprint) == "again"
            if known and self._holds_prefix(handle, size):
                self._handle, self._resuming = handle, False
                place.device, place.inode = sibling.identity
                return [self._chunk(body)] if (body := self._read_lines()) else []
            handle.close()
        return []

    def _later_than_read(self) -> list[Sibling]:
        return [one for one in self._siblings() if one.mtime_ns > self._place.changed_us * 1000]

    def _after_a_loss(self, later: Sequence[Sibling]) -> list[Chunk]:
        """The file that was being read is nowhere: what it got since may be missing. Reading goes
        on with what was written later."""
        lost = said(
            "{name}: the file that was being read is gone, its last lines may be too",
            name=self._path.name,
        )
        return self._begin_next(later, lost)

    def _siblings(self) -> list[Sibling]:
        return siblings_of(self._path) if self._rotates else []

    def _later(self) -> list[Sibling]:
        """Siblings that were written after the one that is read now."""
        every, place = self._siblings(), self._place
        for n, one in enumerate(every):
            if one.identity == (place.device, place.inode):
                return every[n + 1 :]
        if self._handle is None:
            return []
        since_ns = os.fstat(self._handle.fileno()).st_mtime_ns
        return [one for one in every if one.mtime_ns > since_ns]

    def _begin_next(self, later: Sequence[Sibling], lost: str = "") -> list[Chunk]:
        """Begins the next of these that was not read before, or else the path itself."""
        place = self._place
        older = next(
            (one for one in self._siblings() if one.identity == (place.device, place.inode)), None
        )
        if place.fingerprint and place.fingerprint not in self._prints:
            self._prints.append(place.fingerprint)
        for sibling in later:
            if sibling.identity in self._passed:
                continue
            try:
                handle = open_sibling(sibling, self._limits)
            except (OSError, NotAllowed) as error:
                self._passed.add(sibling.identity)
                lost = "; ".join(filter(None, [lost, f"{sibling.path.name}: {error}"]))
                continue
            head = handle.read(HEAD_BYTES)
            if any(compare(head, known) == "again" for known in self._prints):
                handle.close()
                continue
            lost = "; ".join(filter(None, [lost, _gone(missing_between(older, sibling))]))
            self._close_handle()
            self._begin(handle, sibling.path.stat(), place.generation + 1)
            return [Chunk(Kind.OPENED, _turned(lost))]
        try:
            fresh = self._limits.open_file(self._path)
        except FileNotFoundError:
            return []  # not made yet: it is looked for again
        lost = "; ".join(filter(None, [lost, _gone(missing_between(older, None))]))
        return self._renew(fresh, os.fstat(fresh.fileno()), lost)

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
        if same or not self._rotates:
            fresh = self._limits.open_file(self._path)
            return self._renew(fresh, os.fstat(fresh.fileno()))
        rest = self._leave()
        return [] if rest is None else [*rest, *self._begin_next(self._later())]

    def _leave(self) -> list[Chunk] | None:
        """The end of a file that was rotated away: its unfinished last line, once it has had time
        to be finished; None until then."""
        if self._handle is None:
            return []
        self._handle.seek(self._place.byte_offset)
        if not self._handle.read(1):
            return []
        now = time.monotonic()
        self._leaving_since = self._leaving_since or now
        if now - self._leaving_since < _SETTLE_S:
            return None
        self._leaving_since = None
        return self.rest()

    def _tail_stands(self, handle: BinaryIO) -> bool:
        handle.seek(self._place.byte_offset - len(self._tail))
        return handle.read(len(self._tail)) == self._tail

    def _renew(self, fresh: BinaryIO, status: os.stat_result, lost: str = "") -> list[Chunk]:
        """A new generation. The same beginning means the same file exported again: what is known
        counts nowhere. Another beginning means the file was rotated: its lines go on."""
        fresh.seek(0)
        verdict = compare(fresh.read(HEAD_BYTES), self._place.fingerprint)
        if verdict == "unsure":
            now = time.monotonic()
            self._doubtful_since = self._doubtful_since or now
            if status.st_size == 0 or now - self._doubtful_since < _SETTLE_S:
                fresh.close()
                if status.st_size == 0:
                    self._doubtful_since = None
                return []
        self._close_handle()
        self._begin(fresh, status, self._place.generation + 1)
        return [Chunk(Kind.OPENED, {"fresh": True} if verdict == "again" else _turned(lost))]

    def _close_handle(self) -> None:
        if self._handle is not None:
            self._handle.close()

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
            place.fingerprint = fingerprint_of(head)
        self._hash.update(body)
        self._tail = (self._tail + body)[-_TAIL_BYTES:]
        place.byte_offset = at + len(body)
        place.prefix_hash = self._hash.copy().hexdigest()
        place.changed_us = time.time_ns() // 1000
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


def _turned(lost: str) -> dict[str, Any]:
    return {"rotated": True, "message": lost[:300], "lost": True} if lost else {"rotated": True}


def _gone(names: str) -> str:
    return said("{names} cannot be found", names=names) if names else ""
