"""Event rows in PostgreSQL's two forms of COPY. Pure.

The binary form, of its documentation (COPY, "Binary Format"): a head; for each row the number of
its fields and for each field its length in bytes (-1: null) and its bytes, numbers big-endian; at
the end a count of -1. Plain lines are laid out by the arrays they were read by, at a quarter of the
cost of a text for each.
"""

from __future__ import annotations

import struct
from collections.abc import Iterator, Sequence
from functools import lru_cache
from typing import Any, Final

import numpy as np

from telemetry.packed import Packed, Stretch
from telemetry.store.gathered import AnyRow

COLUMNS: Final = (
    "feed_id, key, at_us, seq, tie, kind, received_us, feed_version, clock_version, torch, text, "
    "stamp, number"
)
TEXT_COLUMNS: Final = (
    "feed_id, key, at_us, seq, tie, torch, kind, number, text, stamp, received_us, "
    "feed_version, clock_version"
)
_FIELDS: Final = 13
_HEAD: Final = b"PGCOPY\n\xff\r\n\0" + struct.pack("!ii", 0, 0)
_END: Final = struct.pack("!h", -1)
_NULL: Final = struct.pack("!i", -1)
_FEW: Final = 40  # lines; as many one by one cost less than laying out arrays


def pays(rows: Sequence[AnyRow], stretches: Sequence[Stretch]) -> bool:
    """Whether most of the rows are plain lines."""
    return 2 * sum(len(stretch.lines) for stretch in stretches) >= len(rows)


def copied(
    feed_id: int, rows: Sequence[AnyRow], stretches: Sequence[Stretch], feed_version: int
) -> Iterator[bytes]:
    """What a COPY of COLUMNS is sent for these rows, in parts. `stretches` say some of them
    again, as arrays; those are of `feed_version` and timed by no corrected clock."""
    yield _HEAD
    done = 0
    for first, lines, received_us in stretches:
        last = first + len(lines)
        yield _singly(feed_id, rows[done:first])
        if lines.torch is None or len(lines.named) * _FEW > len(lines):
            yield _singly(feed_id, rows[first:last])
        else:
            yield from _mostly_together(feed_id, rows[first:last], lines, received_us, feed_version)
        done = last
    yield _singly(feed_id, rows[done:])
    yield _END


def _mostly_together(
    feed_id: int, rows: Sequence[AnyRow], lines: Packed, received_us: int, feed_version: int
) -> Iterator[bytes]:
    """All between the lines with names by arrays."""
    done = 0
    for named in [*lines.named.tolist(), len(lines)]:
        if done < named:
            yield _together(feed_id, lines.part(done, named), received_us, feed_version)
        yield _singly(feed_id, rows[named : named + 1])
        done = named + 1


def _singly(feed_id: int, rows: Sequence[AnyRow]) -> bytes:
    return b"".join([_row(feed_id, row) for row in rows])


def _row(feed_id: int, row: AnyRow) -> bytes:
    key, at_us, seq, tie, torch, kind, number, text, stamp, received_us, feed, clock = row
    return b"".join(
        (
            struct.pack("!hiq", _FIELDS, 8, feed_id),
            _bytes(key),
            struct.pack("!iqiqii", 8, at_us, 8, seq, 4, tie),
            struct.pack("!ihiqiiii", 2, kind, 8, received_us, 4, feed, 4, clock),
            _bytes(torch.encode()),
            _NULL if text is None else _bytes(text.encode()),
            _bytes(stamp.encode()),
            _NULL if number is None else struct.pack("!id", 8, number),
        )
    )


def _bytes(value: bytes) -> bytes:
    return struct.pack("!i", len(value)) + value


def _together(feed_id: int, lines: Packed, received_us: int, feed_version: int) -> bytes:
    """Plain lines of one torch without names, laid out as wide as the widest; then what lies
    behind a short stamp or in the place of no number is left out."""
    torch = (lines.torch or "").encode()
    widths = lines.stamps_to - lines.stamps_from
    widest = int(widths.max())
    table = np.empty(len(lines), _layout(len(torch), widest))
    values: dict[str, Any] = {
        "feed_id": feed_id, "key": lines.keys.view("V16")[:, 0], "at_us": lines.times_us,
        "seq": lines.seqs, "tie": 0, "kind": lines.kinds, "received_us": received_us,
        "feed_version": feed_version, "clock_version": 0, "torch": np.void(torch),
    }  # fmt: skip
    table["count"] = _FIELDS
    for name, value in values.items():
        table[f"{name} size"] = table.dtype[name].itemsize
        table[name] = value
    table["text size"] = -1
    table["stamp size"] = widths
    places = np.minimum(lines.stamps_from[:, None] + np.arange(widest), len(lines.text) - 1)
    table["stamp"] = lines.text[places].view(f"V{widest}")[:, 0]
    has_number = ~np.isnan(lines.values)
    table["number size"] = np.where(has_number, 8, -1)
    table["number"] = lines.values
    raw = table.view(np.uint8).reshape(len(lines), -1)
    keep = np.ones(raw.shape, np.bool_)
    keep[~has_number, -8:] = False
    stamp = table.dtype.fields["stamp"][1] if table.dtype.fields else 0
    keep[:, stamp : stamp + widest] = np.arange(widest) < widths[:, None]
    return raw[keep].tobytes()


@lru_cache(64)
def _layout(torch: int, stamp: int) -> np.dtype[np.void]:
    """A row whose torch and stamp have this many bytes."""
    forms = {
        "feed_id": ">i8", "key": "V16", "at_us": ">i8", "seq": ">i8", "tie": ">i4", "kind": ">i2",
        "received_us": ">i8", "feed_version": ">i4", "clock_version": ">i4", "torch": f"V{torch}",
        "text": "", "stamp": f"V{stamp}", "number": ">f8",
    }  # fmt: skip
    fields = [("count", ">i2")]
    for name, form in forms.items():
        fields += [(f"{name} size", ">i4"), (name, form)] if form else [(f"{name} size", ">i4")]
    return np.dtype(fields)


def as_text(feed_id: int, rows: Sequence[AnyRow]) -> str:
    """Rows of TEXT_COLUMNS: tabs between, \\N for null, backslashes escaped."""
    feed = f"{feed_id}\t\\\\x"
    lines = [
        f"{feed}{key.hex()}\t{at_us}\t{seq}\t{tie}\t{_escaped(torch)}\t{kind}\t"
        f"{_NO_TEXT if number is None else repr(number)}\t"
        f"{_NO_TEXT if text is None else _escaped(text)}\t{_escaped(stamp)}\t{received_us}\t"
        f"{feed_version}\t{clock_version}\n"
        for key, at_us, seq, tie, torch, kind, number, text, stamp, received_us, feed_version,
        clock_version in rows
    ]  # fmt: skip
    return "".join(lines)


_NO_TEXT: Final = "\\N"
_ESCAPES: Final = str.maketrans({"\\": "\\\\", "\t": "\\t", "\n": "\\n", "\r": "\\r"})
_TO_ESCAPE: Final = frozenset("\\\t\n\r")


def _escaped(text: str) -> str:
    return text if _TO_ESCAPE.isdisjoint(text) else text.translate(_ESCAPES)
