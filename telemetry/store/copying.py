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
from typing import Any, Final, NamedTuple

import numpy as np

from telemetry.decode.row_blocks import AnyRow, Array, RowBlock
from telemetry.decode.row_list import Rows

COLUMNS: Final = (
    "feed_id, key, at_us, seq, tie, kind, received_us, feed_version, clock_version, torch, text, "
    "stamp, number"
)
TEXT_COLUMNS: Final = (
    "feed_id, key, at_us, seq, tie, torch, kind, number, text, stamp, received_us, "
    "feed_version, clock_version"
)
_FIELDS: Final = 13
HEAD: Final = b"PGCOPY\n\xff\r\n\0" + struct.pack("!ii", 0, 0)
END: Final = struct.pack("!h", -1)
_NULL: Final = struct.pack("!i", -1)
_FEW: Final = 40  # lines; as many one by one cost less than laying out arrays
_AT_ONCE: Final = 4_096  # lines laid out together: what that takes stays in the processor's cache


def pays(rows: Rows) -> bool:
    """Whether most of the rows are arrays."""
    return 2 * rows.packed >= len(rows)


def copied(feed_id: int, rows: Rows) -> Iterator[bytes]:
    """What a COPY of COLUMNS is sent for these rows, in parts."""
    yield HEAD
    for part in rows.parts:
        if isinstance(part, list):
            yield _singly(feed_id, part)
        elif part.lines.torch is None or len(part.lines.named) * _FEW > len(part):
            yield _singly(feed_id, part.rows())
        else:
            yield from _mostly_together(feed_id, part)
    yield END


def _mostly_together(feed_id: int, stretch: RowBlock) -> Iterator[bytes]:
    """All between the lines with names by arrays."""
    done = 0
    for named in [*stretch.lines.named.tolist(), len(stretch)]:
        for first in range(done, named, _AT_ONCE):
            yield _together(feed_id, stretch.part(first, min(first + _AT_ONCE, named)))
        yield _singly(feed_id, stretch.part(named, named + 1).rows())
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


def _together(feed_id: int, stretch: RowBlock) -> bytes:
    """Plain lines of one torch without names."""
    lines = stretch.lines
    torch = (lines.torch or "").encode()
    fields = [
        Field(">i8", feed_id), Field("V16", lines.keys.view("V16")[:, 0]),
        Field(">i8", lines.times_us), Field(">i8", lines.seqs), Field(">i4", 0),
        Field(">i2", lines.kinds), Field(">i8", stretch.received_us),
        Field(">i4", stretch.feed_version), Field(">i4", 0),
        Field(f"V{len(torch)}", np.void(torch)), NULL,
        texts(lines.text, lines.stamps_from, lines.stamps_to),
        Field(">f8", lines.values, np.where(np.isnan(lines.values), -1, 8)),
    ]  # fmt: skip
    return laid_out(fields, len(lines))


def row_of_fields(fields: Sequence[bytes | None]) -> bytes:
    """One row of these fields; None is null."""
    sized = [_NULL if field is None else _bytes(field) for field in fields]
    return struct.pack("!h", len(fields)) + b"".join(sized)


class Field(NamedTuple):
    """A field of many rows: its form, its values, and its length in each row, where that is not
    the form's (-1: null)."""

    form: str
    values: Any
    sizes: Array | None = None


NULL: Final = Field("", None)  # a field that is null in every row


def texts(text: Array, starts: Array, ends: Array) -> Field:
    """The field that is `text[start:end]` in each row, of whatever lengths."""
    sizes = ends - starts
    widest = max(int(sizes.max()), 1)
    places = np.minimum(starts[:, None] + np.arange(widest), len(text) - 1)
    alike = bool((sizes == widest).all())
    return Field(f"V{widest}", text[places].view(f"V{widest}")[:, 0], None if alike else sizes)


def laid_out(fields: Sequence[Field], count: int) -> bytes:
    """Rows of these fields, each laid out as wide as its form; what lies behind a shorter value or
    in the place of none is then left out."""
    table = np.empty(count, _layout(tuple(field.form for field in fields)))
    table["count"] = len(fields)
    keep: Array | None = None
    raw = table.view(np.uint8).reshape(count, -1)
    for n, (form, values, sizes) in enumerate(fields):
        if not form:
            table[f"size {n}"] = -1
            continue
        table[f"{n}"] = values
        width, at = table.dtype[f"{n}"].itemsize, _place(table.dtype, f"{n}")
        table[f"size {n}"] = width if sizes is None else sizes
        if sizes is not None:
            keep = np.ones(raw.shape, np.bool_) if keep is None else keep
            keep[:, at : at + width] = np.arange(width) < sizes[:, None]
    return raw.tobytes() if keep is None else raw[keep].tobytes()


def _place(layout: np.dtype[np.void], name: str) -> int:
    return layout.fields[name][1] if layout.fields else 0


@lru_cache(64)
def _layout(forms: tuple[str, ...]) -> np.dtype[np.void]:
    """A row whose fields have these forms."""
    fields = [("count", ">i2")]
    for n, form in enumerate(forms):
        fields.append((f"size {n}", ">i4"))
        if form:
            fields.append((f"{n}", form))
    return np.dtype(fields)


def as_text(feed_id: int, rows: Sequence[AnyRow]) -> str:
    """Rows of TEXT_COLUMNS: tabs between, \\N for null, backslashes escaped."""
    feed = f"{feed_id}\t\\\\x"
    lines = [
        f"{feed}{key.hex()}\t{at_us}\t{seq}\t{tie}\t{escaped(torch)}\t{kind}\t"
        f"{_NO_TEXT if number is None else repr(number)}\t"
        f"{_NO_TEXT if text is None else escaped(text)}\t{escaped(stamp)}\t{received_us}\t"
        f"{feed_version}\t{clock_version}\n"
        for key, at_us, seq, tie, torch, kind, number, text, stamp, received_us, feed_version,
        clock_version in rows
    ]  # fmt: skip
    return "".join(lines)


_NO_TEXT: Final = "\\N"
_ESCAPES: Final = str.maketrans({"\\": "\\\\", "\t": "\\t", "\n": "\\n", "\r": "\\r"})
_TO_ESCAPE: Final = frozenset("\\\t\n\r")


def escaped(text: str) -> str:
    """A text as the text form has it."""
    return text if _TO_ESCAPE.isdisjoint(text) else text.translate(_ESCAPES)
