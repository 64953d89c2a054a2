"""Arcs that were paired by arrays, as rows or as what a COPY of them is sent."""

from __future__ import annotations

import struct
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import chain, repeat
from typing import Any

import numpy as np
from django.db import connection

from telemetry.arcs.pairing_columns import ManyArcs
from telemetry.decode.row_blocks import Array, but_nan
from telemetry.models import Feed
from telemetry.store import copying
from telemetry.store.arcrows import FIELDS, ArcRow, next_change, save_arcs
from telemetry.store.copying import Field
from telemetry.store.rows import insert_many

# An arc's fields in the order they are copied in.
COLUMNS = (
    'feed_id, "table", torch, on_us, off_us, feed_version, clock_version, changed_us, key, ended, '
    "pierces, first_pierce_us, program, amps, volts"
)


@dataclass(frozen=True, slots=True)
class NewArcs:
    """Arcs of one feed that ended, none stored yet, of lines timed by no corrected clock."""

    feed: Feed
    arcs: ManyArcs
    table: str
    feed_version: int

    def __len__(self) -> int:
        return len(self.arcs)

    def rows(self) -> list[ArcRow]:
        """One by one."""
        return [*map(ArcRow._make, self.columns())]

    def columns(self) -> Iterator[tuple[Any, ...]]:
        """The fields of each row."""
        arcs, feed = self.arcs, self.feed
        text = arcs.keys.tobytes().hex()
        head = f"{feed.name}|{arcs.torch}|"
        pierces = repeat(None) if arcs.pierces is None else arcs.pierces.tolist()
        first_us = [None if us < 0 else us for us in arcs.first_pierces_us.tolist()]
        return zip(
            [head + text[at : at + 32] for at in range(0, len(text), 32)], repeat(feed.pk),
            repeat(self.table), repeat(arcs.torch), arcs.on_us.tolist(), arcs.off_us.tolist(),
            ["lost" if is_lost else "off" for is_lost in arcs.lost.tolist()], pierces, first_us,
            [arcs.names[place] for place in arcs.programs.tolist()], but_nan(arcs.amps),
            but_nan(arcs.volts), repeat(self.feed_version), repeat(0),
        )  # fmt: skip

    def copied(self, changed_us: int) -> bytes:
        """What a COPY of COLUMNS is sent of them."""
        arcs, feed = self.arcs, self.feed
        torch, table = arcs.torch.encode(), self.table.encode()
        head = f"{feed.name}|{arcs.torch}|".encode()
        words = np.frombuffer(b"offlost", np.uint8)
        names = [b"" if name is None else name.encode() for name in arcs.names]
        text = np.frombuffer(b"".join(names) or b"\0", np.uint8)
        ends = np.cumsum([len(name) for name in names])[arcs.programs]
        lengths = np.array([len(name) for name in names])[arcs.programs]
        unnamed = np.array([name is None for name in arcs.names])[arcs.programs]
        program = copying.texts(text, ends - lengths, ends)
        fields = [
            Field(">i8", feed.pk), Field(f"V{len(table)}", np.void(table)),
            Field(f"V{len(torch)}", np.void(torch)), Field(">i8", arcs.on_us),
            Field(">i8", arcs.off_us), Field(">i4", self.feed_version), Field(">i4", 0),
            Field(">i8", changed_us), Field(f"V{len(head) + 32}", _keys(head, arcs.keys)),
            copying.texts(words, np.where(arcs.lost, 3, 0), np.where(arcs.lost, 7, 3)),
            copying.NULL if arcs.pierces is None else Field(">i4", arcs.pierces),
            Field(">i8", arcs.first_pierces_us, np.where(arcs.first_pierces_us < 0, -1, 8)),
            program._replace(sizes=np.where(unnamed, -1, lengths)),
            *(Field(">f8", means, np.where(np.isnan(means), -1, 8))
              for means in (arcs.amps, arcs.volts)),
        ]  # fmt: skip
        return copying.laid_out(fields, len(arcs))


def _keys(head: bytes, keys: Array) -> Array:
    """`head` and the key in hex."""
    raw = np.frombuffer(keys.tobytes().hex().encode(), np.uint8).reshape(-1, 32)
    whole = np.empty((len(raw), len(head) + 32), np.uint8)
    whole[:, : len(head)] = np.frombuffer(head, np.uint8)
    whole[:, len(head) :] = raw
    return whole.view(f"V{whole.shape[1]}")[:, 0]


def save_new(rows: Sequence[ArcRow], many: Sequence[NewArcs]) -> None:
    """Inserts arcs of which none is there yet, as those of events behind all others."""
    if not many:
        save_arcs(rows, all_new=True)
        return
    with connection.cursor() as cursor:
        changed_us = next_change(cursor)
        if connection.vendor == "sqlite":
            fields = chain(rows, *(arcs.columns() for arcs in many))
            into = f"INSERT INTO telemetry_arc (changed_us, {', '.join(FIELDS)})"
            marks = f"({changed_us}, {', '.join('?' * len(FIELDS))})"
            insert_many(cursor.cursor, into, marks, fields)
            return
        into = f"telemetry_arc ({COLUMNS}) FROM STDIN (FORMAT binary)"
        with cursor.copy(f"COPY {into}") as copy:
            copy.write(copying.HEAD)
            copy.write(b"".join([one_copied(row, changed_us) for row in rows]))
            for arcs in many:
                copy.write(arcs.copied(changed_us))
            copy.write(copying.END)


def one_copied(row: ArcRow, changed_us: int) -> bytes:
    """One arc as `NewArcs.copied` has it."""
    return copying.row_of_fields(
        [
            _bigint(row.feed_id), row.table.encode(), row.torch.encode(), _bigint(row.on_us),
            _bigint(row.off_us), _integer(row.feed_version), _integer(row.clock_version),
            _bigint(changed_us), row.key.encode(), row.ended.encode(), _integer(row.pierces),
            _bigint(row.first_pierce_us), None if row.program is None else row.program.encode(),
            _double(row.amps), _double(row.volts),
        ]
    )  # fmt: skip


def _bigint(value: int | None) -> bytes | None:
    return None if value is None else struct.pack("!q", value)


def _integer(value: int | None) -> bytes | None:
    return None if value is None else struct.pack("!i", value)


def _double(value: float | None) -> bytes | None:
    return None if value is None else struct.pack("!d", value)
