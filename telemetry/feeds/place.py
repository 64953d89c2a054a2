"""How far a file has been read, and what it is known again by."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from typing import Any

HEAD_BYTES = 1024
_STEPS = (64, 128, 256, 512)  # lengths of the head that are known by a hash of their own


@dataclass(slots=True)
class Place:
    """How far one generation of a file has been read, and enough of it to know it again."""

    generation: int = 1
    device: int = 0
    inode: str = ""
    fingerprint: str = ""  # "<length>:<hash>,..." of its first bytes
    byte_offset: int = 0
    prefix_hash: str = ""
    changed_us: int = 0


def place_of(row: dict[str, Any]) -> Place:
    """A place as it was kept; what an older version, or a collector's spool, does not keep is as
    if it had never been."""
    return Place(**{name: row[name] for name in Place.__slots__ if name in row})


def fingerprint_of(head: bytes) -> str:
    """Hashes of the head at a few lengths, the longest last."""
    lengths = [step for step in _STEPS if step < len(head)] + [len(head)]
    return ",".join(f"{length}:{_hash(head[:length])}" for length in lengths)


def compare(head: bytes, fingerprint: str) -> str:
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
