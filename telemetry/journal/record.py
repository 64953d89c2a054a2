"""The bytes of a record: `mark | crc | length | sequence | UTC us | monotonic us | kind | payload`.

The crc covers all that follows it. The payload is a short JSON object (where the bytes came from)
behind its length, then the bytes themselves. All integers little-endian.
"""

from __future__ import annotations

import enum
import json
import struct
import zlib
from typing import Any, NamedTuple

MARK = b"\xf7JR\x0b"
_AFTER_CRC = struct.Struct("<IQqqB")  # length, sequence, utc_us, mono_us, kind
_META = struct.Struct("<H")
HEADER_BYTES = len(MARK) + 4 + _AFTER_CRC.size
_as_json = json.JSONEncoder(separators=(",", ":")).encode
MAX_PAYLOAD = 8 * 1024 * 1024


class Kind(enum.IntEnum):
    DATA = 1  # bytes of the source, with their position in it
    FLUSH = 2  # the reorder window was let go, by wall time
    OPENED = 3  # a source was opened (again); meta says whether it is read from its start
    VERSION = 4  # the description in force from here on
    CLOCK = 5  # the clock offset in force from here on
    END = 6  # the end of an input: window and unfinished line are let go


class Record(NamedTuple):
    """One record. `utc_us` and `mono_us` are when its bytes arrived, by the host's two clocks."""

    kind: Kind
    sequence: int
    utc_us: int
    mono_us: int
    meta: dict[str, Any]
    body: bytes

    def pack(self) -> bytes:
        meta = _as_json(self.meta).encode() if self.meta else b""
        payload_bytes = _META.size + len(meta) + len(self.body)
        head = _AFTER_CRC.pack(payload_bytes, self.sequence, self.utc_us, self.mono_us, self.kind)
        rest = b"".join((head, _META.pack(len(meta)), meta, self.body))
        return b"".join((MARK, struct.pack("<I", zlib.crc32(rest)), rest))


def unpack(buffer: bytes | memoryview, offset: int) -> tuple[Record, int] | None:
    """The record at `offset` and where it ends; None if no intact record stands there."""
    view = memoryview(buffer)
    if len(view) - offset < HEADER_BYTES or view[offset : offset + 4] != MARK:
        return None
    (crc,) = struct.unpack_from("<I", view, offset + 4)
    length, sequence, utc_us, mono_us, kind = _AFTER_CRC.unpack_from(view, offset + 8)
    end = offset + HEADER_BYTES + length
    if length < _META.size or length > MAX_PAYLOAD or end > len(view):
        return None
    if zlib.crc32(view[offset + 8 : end]) != crc:
        return None
    start = offset + HEADER_BYTES
    (meta_bytes,) = _META.unpack_from(view, start)
    start += _META.size
    meta = json.loads(bytes(view[start : start + meta_bytes])) if meta_bytes else {}
    body = bytes(view[start + meta_bytes : end])
    return Record(Kind(kind), sequence, utc_us, mono_us, meta, body), end


def find_next(buffer: bytes, offset: int) -> int:
    """Where the next intact record after `offset` begins; -1 if there is none."""
    at = buffer.find(MARK, offset)
    while at >= 0:
        if unpack(buffer, at) is not None:
            return at
        at = buffer.find(MARK, at + 1)
    return -1
