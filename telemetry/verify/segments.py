"""Reads every record of a journal's files once more, by code of its own: length, checksum, order.

It shares only the names of files and the format's constants with the reader that intake uses.
"""

from __future__ import annotations

import gzip
import struct
import zlib
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

from telemetry.journal.record import MARK
from telemetry.journal.segments import HEAD, packed_path, segment_numbers, segment_path
from telemetry.said import said
from telemetry.verify.findings import Finding

_HEADER = struct.Struct("<4sIIQqqB")  # mark, crc, length, sequence, utc_us, mono_us, kind


@dataclass
class JournalCheck:
    """One lane's files: how much was read, and what is wrong with it."""

    next_sequence: int = 1
    segments: int = 0
    records: int = 0
    bytes: int = 0
    findings: list[Finding] = field(default_factory=list)
    whole: bool = True  # no record is missing


def check_journal(
    folder: Path, where: str, *, first_segment: int = 0, first_sequence: int = 1
) -> JournalCheck:
    """Every segment from `first_segment` on (what is before was thinned); the first record must be
    `first_sequence`."""
    done = JournalCheck(next_sequence=first_sequence)
    numbers = [n for n in segment_numbers(folder) if n >= first_segment]
    bad: str = ""  # where bytes could not be read since the last good record
    before = first_segment - 1 if first_segment else 0
    for number in numbers:
        raw, trouble = _bytes_of(folder, number)
        name = _name(folder, number)
        if trouble:
            done.findings.append(
                Finding(
                    "segment damaged", where, said("{name}: {trouble}.", name=name, trouble=trouble)
                )
            )
            done.whole, bad = False, said("{name} is damaged", name=name)
        elif not raw.startswith(HEAD) and raw.strip(b"\0"):
            bad = said("{name} does not begin as a journal does", name=name)
        if number > before + 1:
            bad = bad or said("segment {number} is not there", number=before + 1)
        done.segments += 1
        done.bytes += len(raw)
        before = number
        for sequence, at in _records(raw):
            if sequence < 0:
                bad = bad or said("{name} is damaged at byte {at}", name=name, at=at)
                continue
            done.records += 1
            if sequence > done.next_sequence:
                on = said("{name} goes on with record {number}", name=name, number=sequence)
                _missing(done, where, sequence, bad or on)
            if sequence >= done.next_sequence:
                done.next_sequence, bad = sequence + 1, ""
    return done


def _missing(done: JournalCheck, where: str, sequence: int, why: str) -> None:
    done.whole = False
    first, last = done.next_sequence, sequence - 1
    words = (
        said(
            "The journal of {journal}: {why}; record {first} cannot be read.",
            journal=where,
            why=why,
            first=first,
        )
        if first == last
        else said(
            "The journal of {journal}: {why}; records {first} to {last} cannot be read.",
            journal=where,
            why=why,
            first=first,
            last=last,
        )
    )
    done.findings.append(Finding("records missing", where, words))


def _name(folder: Path, number: int) -> str:
    path = segment_path(folder, number)
    return (path if path.exists() else packed_path(folder, number)).name


def _bytes_of(folder: Path, number: int) -> tuple[bytes, str]:
    """A segment's bytes, and what is wrong with its file as a whole."""
    try:
        return segment_path(folder, number).read_bytes(), ""
    except FileNotFoundError:
        pass
    except OSError as error:
        return b"", said("cannot be read ({error})", error=error.strerror)
    try:
        with gzip.open(packed_path(folder, number)) as handle:
            return handle.read(), ""
    except (OSError, EOFError, zlib.error) as error:
        whole = said("the compressed file is damaged ({error})", error=error)
        return _what_is_left(packed_path(folder, number)), whole


def _what_is_left(path: Path) -> bytes:
    found = []
    unpacker = zlib.decompressobj(wbits=31)
    try:
        for piece in iter_pieces(path):
            found.append(unpacker.decompress(piece))
    except (OSError, zlib.error):
        pass
    return b"".join(found)


def iter_pieces(path: Path, size: int = 65_536) -> Iterator[bytes]:
    with path.open("rb") as handle:
        while piece := handle.read(size):
            yield piece


def _records(raw: bytes) -> Iterator[tuple[int, int]]:
    """(sequence, offset) of each intact record; (-1, offset) of each stretch that is none."""
    view, at, is_bad = memoryview(raw), len(HEAD), False
    while at < len(raw):
        found = _record(view, at)
        if found is not None:
            sequence, end = found
            yield sequence, at
            at, is_bad = end, False
            continue
        if not is_bad:
            yield -1, at
        is_bad = True
        at = raw.find(MARK, at + 1)
        if at < 0:
            return


def _record(view: memoryview, at: int) -> tuple[int, int] | None:
    if len(view) - at < _HEADER.size:
        return None
    mark, crc, length, sequence, *_ = _HEADER.unpack_from(view, at)
    end = at + _HEADER.size + length
    if mark != MARK or end > len(view) or zlib.crc32(view[at + 8 : end]) != crc:
        return None
    return sequence, end
