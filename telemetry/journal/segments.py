"""The files of a journal: `0000000001.journal`, ... each opens with a line naming the format.

A segment that is closed and stored becomes `0000000001.journal.gz`, the same bytes compressed.
"""

from __future__ import annotations

import contextlib
import os
import zlib
from pathlib import Path

HEAD = b"KERFBOOK JOURNAL 1\n"
SUFFIX = ".journal"
PACKED = ".gz"
_PIECE_BYTES = 4096
_TAIL = 2  # segments a writer reads when it opens; they stay as they are
_GZIP = 31  # zlib's word for its gzip format


def segment_path(folder: Path, number: int) -> Path:
    return folder / f"{number:010d}{SUFFIX}"


def packed_path(folder: Path, number: int) -> Path:
    return folder / f"{number:010d}{SUFFIX}{PACKED}"


def segment_numbers(folder: Path) -> list[int]:
    """Numbers of the segments present, in order. Other files in the folder are passed over."""
    try:
        names = os.listdir(folder)
    except (FileNotFoundError, NotADirectoryError):
        return []
    stems = {name.removesuffix(PACKED).removesuffix(SUFFIX) for name in names if SUFFIX in name}
    return sorted(int(stem) for stem in stems if stem.isdigit())


def read_from(folder: Path, number: int, offset: int) -> bytes:
    """A segment's bytes from `offset` on, however it lies there. Of a compressed one that is
    damaged, what is intact before the damage."""
    try:
        descriptor = os.open(segment_path(folder, number), os.O_RDONLY)
    except FileNotFoundError:
        return _unpacked(packed_path(folder, number))[offset:]
    try:  # a buffered file costs three calls more, and this is done for every source at every tick
        return os.pread(descriptor, max(0, os.fstat(descriptor).st_size - offset), offset)
    finally:
        os.close(descriptor)


def size_of(folder: Path, number: int) -> int:
    """Bytes of a segment, uncompressed."""
    try:
        return segment_path(folder, number).stat().st_size
    except FileNotFoundError:
        with packed_path(folder, number).open("rb") as handle:
            handle.seek(-4, os.SEEK_END)  # gzip ends with the size (RFC 1952)
            return int.from_bytes(handle.read(), "little")


def packable(folder: Path, before: int) -> list[int]:
    """Closed segments below `before` that lie there uncompressed."""
    numbers = segment_numbers(folder)[:-_TAIL]
    return [n for n in numbers if n < before and segment_path(folder, n).exists()]


def pack(folder: Path, number: int) -> None:
    """Compresses a closed segment. Killed at any instant, one of the two files is there whole: the
    plain one goes only once the other is on disk and reads as the same bytes. Raises OSError."""
    plain, packed = segment_path(folder, number), packed_path(folder, number)
    data = plain.read_bytes()
    if not packed.exists() or _unpacked(packed) != data:
        fresh = packed.with_suffix(".new")
        compressor = zlib.compressobj(6, wbits=_GZIP)
        with fresh.open("wb") as handle:
            handle.write(compressor.compress(data) + compressor.flush())
            handle.flush()
            os.fsync(handle.fileno())
        if _unpacked(fresh) != data:
            fresh.unlink()
            raise OSError(f"{fresh}: does not read as it was written")
        fresh.replace(packed)
        sync_folder(folder)
    with contextlib.suppress(FileNotFoundError):
        plain.unlink()


def sync_folder(folder: Path) -> None:
    descriptor = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(descriptor)
    finally:
        os.close(descriptor)


def _unpacked(path: Path) -> bytes:
    decompressor = zlib.decompressobj(wbits=_GZIP)
    found = []
    with path.open("rb") as handle, contextlib.suppress(zlib.error):
        while piece := handle.read(_PIECE_BYTES):
            found.append(decompressor.decompress(piece))
    return b"".join(found)
