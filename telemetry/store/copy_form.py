"""Rows of events and arcs in PostgreSQL's binary form of COPY. Pure.

Of its documentation (COPY, "Binary Format"): a head; for each row the number of
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
from telemetry.store.rows import ArcRow, NewArcs

EVENT_COLUMNS: Final = (
    "feed_id, key, at_us, seq, tie, kind, received_us, feed_version, clock_version, torch, text, "
    "stamp, number"
)
ARC_COLUMNS: Final = (
    'feed_id, "table", torch, on_us, off_us, feed_version, clock_version, changed_us, key, ended, '
    "pierces, first_pierce_us, program, amps, volts"
)
_FIELDS: Final = 13
HEAD: Final = b"PGCOPY\n\xff\r\n\0" + struct.pack("!ii", 0, 0)
END: Final = struct.pack("!h", -1)
_NULL: Final = struct.pack("!i", -1)
_FEW: Final = 40  # lines; as many one by one cost less than laying out arrays
_AT_ONCE: Final = 4_096  # lines laid out together: what that takes stays in the processor's cache


def events(feed_id: int, rows: Rows) -> Iterator[bytes]:
    """Rows of EVENT_COLUMNS, in parts."""
    for part in rows.parts:
        if isinstance(part, list):
            for at in range(0, len(part), _AT_ONCE):
                yield _singly(feed_id, part[at : at + _AT_ONCE])
        elif part.lines.torch is None or len(part.lines.named) * _FEW > len(part):
            yield _singly(feed_id, part.rows())
        else:
            yield from _mostly_together(feed_id, part)


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


# What has the same length in every row: feed_id to clock_version.
_FIXED: Final = "hiqi16siqiqiiihiqiiii"


def _row(feed_id: int, row: AnyRow) -> bytes:
    key, at_us, seq, tie, torch, kind, number, text, stamp, received_us, feed, clock = row
    named, stamped = torch.encode(), stamp.encode()
    noted = b"" if text is None else text.encode()
    measured = () if number is None else (number,)
    return _form(len(named), len(noted), len(stamped), number is not None).pack(
        _FIELDS, 8, feed_id, 16, key, 8, at_us, 8, seq, 4, tie, 2, kind, 8, received_us, 4, feed,
        4, clock, len(named), named, -1 if text is None else len(noted), noted, len(stamped),
        stamped, 8 if measured else -1, *measured,
    )  # fmt: skip


@lru_cache(1_024)
def _form(torch: int, text: int, stamp: int, has_number: bool) -> struct.Struct:
    """A row whose texts are of these lengths: packed in one go it costs half of each by itself."""
    return struct.Struct(f"!{_FIXED}i{torch}si{text}si{stamp}si{'d' if has_number else ''}")


def _bytes(value: bytes) -> bytes:
    return len(value).to_bytes(4, "big") + value


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


def new_arcs(new: NewArcs, changed_us: int) -> bytes:
    """Rows of ARC_COLUMNS."""
    arcs, feed = new.arcs, new.feed
    torch, table = arcs.torch.encode(), new.table.encode()
    head = f"{feed.name}|{arcs.torch}|".encode()
    words = np.frombuffer(b"offlost", np.uint8)
    names = [b"" if name is None else name.encode() for name in arcs.names]
    text = np.frombuffer(b"".join(names) or b"\0", np.uint8)
    ends = np.cumsum([len(name) for name in names])[arcs.programs]
    lengths = np.array([len(name) for name in names])[arcs.programs]
    unnamed = np.array([name is None for name in arcs.names])[arcs.programs]
    program = texts(text, ends - lengths, ends)
    fields = [
        Field(">i8", feed.pk), Field(f"V{len(table)}", np.void(table)),
        Field(f"V{len(torch)}", np.void(torch)), Field(">i8", arcs.on_us),
        Field(">i8", arcs.off_us), Field(">i4", new.feed_version), Field(">i4", 0),
        Field(">i8", changed_us), Field(f"V{len(head) + 32}", _keys(head, arcs.keys)),
        texts(words, np.where(arcs.lost, 3, 0), np.where(arcs.lost, 7, 3)),
        NULL if arcs.pierces is None else Field(">i4", arcs.pierces),
        Field(">i8", arcs.first_pierces_us, np.where(arcs.first_pierces_us < 0, -1, 8)),
        program._replace(sizes=np.where(unnamed, -1, lengths)),
        *(Field(">f8", means, np.where(np.isnan(means), -1, 8))
          for means in (arcs.amps, arcs.volts)),
    ]  # fmt: skip
    return laid_out(fields, len(arcs))


def _keys(head: bytes, keys: Array) -> Array:
    """`head` and the key in hex."""
    raw = np.frombuffer(keys.tobytes().hex().encode(), np.uint8).reshape(-1, 32)
    whole = np.empty((len(raw), len(head) + 32), np.uint8)
    whole[:, : len(head)] = np.frombuffer(head, np.uint8)
    whole[:, len(head) :] = raw
    return whole.view(f"V{whole.shape[1]}")[:, 0]


def arc(row: ArcRow, changed_us: int) -> bytes:
    """One row of ARC_COLUMNS."""
    fields = [
        _bigint(row.feed_id), row.table.encode(), row.torch.encode(), _bigint(row.on_us),
        _bigint(row.off_us), _integer(row.feed_version), _integer(row.clock_version),
        _bigint(changed_us), row.key.encode(), row.ended.encode(), _integer(row.pierces),
        _bigint(row.first_pierce_us), None if row.program is None else row.program.encode(),
        _double(row.amps), _double(row.volts),
    ]  # fmt: skip
    sized = [_NULL if field is None else _bytes(field) for field in fields]
    return struct.pack("!h", len(fields)) + b"".join(sized)


def _bigint(value: int | None) -> bytes | None:
    return None if value is None else struct.pack("!q", value)


def _integer(value: int | None) -> bytes | None:
    return None if value is None else struct.pack("!i", value)


def _double(value: float | None) -> bytes | None:
    return None if value is None else struct.pack("!d", value)
