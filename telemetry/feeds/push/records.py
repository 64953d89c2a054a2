"""Reads the records of a delivery, which may be anything: what is odd is refused in words before
a byte of it is written down."""

from __future__ import annotations

from typing import Any

from telemetry.errors import PushError
from telemetry.journal import Kind, Record
from telemetry.journal.record import MAX_PAYLOAD, unpack

MAX_BODY = 2 * 1024 * 1024
MAX_RECORDS = 5_000  # a collector sends 2,000 at most
_MOST_BYTES = MAX_PAYLOAD // 8  # of one record; a collector reads a quarter of it at once
_KINDS = (Kind.DATA, Kind.OPENED, Kind.FLUSH, Kind.END)
_LATEST_US = 3_786_912_000_000_000  # 2090: stamps of lines reach no further either
_LARGEST = 2**53  # of numbers and places, exact in any database
# What intake makes of it: how long a text it may be, or what else. All other names are dropped.
_TEXTS = {"source": 280, "message": 280, "path": 4_096}
_FLAGS = ("broken", "fresh", "rotated")


def unpack_all(body: bytes) -> list[Record]:
    """Records of a delivery, whole and in one row of numbers. Raises PushError."""
    if len(body) > MAX_BODY:
        raise PushError(413, f"over {MAX_BODY} bytes in one delivery")
    records: list[Record] = []
    at = 0
    while at < len(body):
        if len(records) == MAX_RECORDS:
            raise PushError(413, f"over {MAX_RECORDS} records in one delivery")
        record, at = _unpack(body, at)
        if records and record.sequence != records[-1].sequence + 1:
            raise PushError(422, f"record {record.sequence} does not follow the one before it")
        records.append(_checked(record))
    return records


def _unpack(body: bytes, at: int) -> tuple[Record, int]:
    try:
        found = unpack(body, at)
    except (ValueError, RecursionError) as problem:
        # Whole by its checksum, and still no record of ours: sending it again will not help.
        raise PushError(422, f"the record at byte {at} says nothing that is known") from problem
    if found is None:
        raise PushError(422, f"no whole record at byte {at}", retry=True)
    return found


def _checked(record: Record) -> Record:
    if record.kind not in _KINDS or not 1 <= record.sequence < _LARGEST:
        raise PushError(422, f"record {record.sequence} is not one of a collector")
    if len(record.body) > _MOST_BYTES:
        raise PushError(422, f"record {record.sequence} is longer than {_MOST_BYTES} bytes")
    if not 0 <= record.utc_us < _LATEST_US or not 0 <= record.mono_us < 2**62:
        raise PushError(422, f"record {record.sequence} came at no time that can be")
    return record._replace(meta=_meta(record))


def _meta(record: Record) -> dict[str, Any]:
    """Where the bytes came from: what is known of it, of the right kind and length."""
    said: Any = record.meta
    if not isinstance(said, dict):
        raise _wrong(record, "what it says of itself")
    kept: dict[str, Any] = {}
    for name, most in _TEXTS.items():
        if name in said:
            if not isinstance(said[name], str):
                raise _wrong(record, name)
            kept[name] = _plain(said[name], most)
    for name in _FLAGS:
        if name in said:
            if not isinstance(said[name], bool):
                raise _wrong(record, name)
            kept[name] = said[name]
    if "at" in said:
        at = said["at"]
        if not isinstance(at, int) or isinstance(at, bool) or not 0 <= at < _LARGEST:
            raise _wrong(record, "at")
        kept["at"] = at
    return kept


def _plain(text: str, most: int) -> str:
    """Without what a database or a page cannot take: NULs, controls, halves of a character. The
    name of a file may hold any of them, and its lines must come through all the same."""
    return "".join(letter if letter.isprintable() else "?" for letter in text[:most])


def _wrong(record: Record, what: str) -> PushError:
    return PushError(422, f"record {record.sequence}: {what} is not of the kind it should be")
