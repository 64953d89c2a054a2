"""Rows in PostgreSQL's binary form of COPY say what the rows say, however they were laid out."""

from __future__ import annotations

import random
import struct

import pytest

from telemetry.decode.columnar import ColumnarDecoder
from telemetry.decode.row_blocks import RowBlock
from telemetry.decode.row_list import Rows
from telemetry.events import PROGRAM, SAMPLE_A
from telemetry.lanes.gathered import row_of
from telemetry.store import copy_form
from tests.telemetry.decode.test_columnar import description_of, made, plain_reader

WHOLE = {2: "!h", 4: "!i", 8: "!q"}


def read_back(raw: bytes) -> list[tuple]:
    """Rows of a binary COPY, read as PostgreSQL's page on it says (COPY, "Binary Format"): a
    signature of 11 bytes, flags, the length of an extension; rows; -1."""
    assert raw[:11] == b"PGCOPY\n\xff\r\n\0"
    flags, extension = struct.unpack("!ii", raw[11:19])
    assert (flags, extension) == (0, 0)
    at, rows = 19, []
    while (count := struct.unpack("!h", raw[at : at + 2])[0]) != -1:
        at += 2
        fields: list[bytes | None] = []
        for _ in range(count):
            (size,) = struct.unpack("!i", raw[at : at + 4])
            at += 4
            fields.append(None if size < 0 else raw[at : at + size])
            at += max(size, 0)
        rows.append(tuple(fields))
    assert at + 2 == len(raw)
    return [spelt_out(row) for row in rows]


def copied(feed_id: int, rows: Rows) -> bytes:
    """A whole COPY of them."""
    return b"".join([copy_form.HEAD, *copy_form.events(feed_id, rows), copy_form.END])


def spelt_out(fields: tuple) -> tuple:
    """Fields by the types of the table's columns, put into a row's own order."""
    said = dict(zip(copy_form.EVENT_COLUMNS.split(", "), fields, strict=True))

    def whole(name: str, size: int) -> int:
        assert len(said[name]) == size
        return struct.unpack(WHOLE[size], said[name])[0]

    number, text = said["number"], said["text"]
    return whole("feed_id", 8), (
        said["key"], whole("at_us", 8), whole("seq", 8), whole("tie", 4), said["torch"].decode(),
        whole("kind", 2), None if number is None else struct.unpack("!d", number)[0],
        None if text is None else text.decode(), said["stamp"].decode(), whole("received_us", 8),
        whole("feed_version", 4), whole("clock_version", 4),
    )  # fmt: skip


def decoded(chance: random.Random, count: int) -> Rows:
    """Rows of made-up lines, as a lane gathers them."""
    description = description_of(chance)
    decoder = ColumnarDecoder(description)
    batch = decoder.feed_block(
        made(description, chance, count), position=0, arrival_us=5, source="made"
    )
    rows = Rows()
    for run in [*batch.runs, *decoder.flush().runs]:
        rows.extend(tuple(row_of(event, 0, 3, 0)) for event in run.events)
        if run.lines is not None:
            rows.add(RowBlock(run.lines, 5, 3))
    return rows


@pytest.mark.parametrize("seed", range(40))
def test_rows_come_back_as_they_were_whether_laid_out_by_arrays_or_not(seed):
    rows = decoded(random.Random(seed), 400)
    expected = [(9, row) for row in rows]
    assert read_back(copied(9, rows)) == expected
    assert read_back(copied(9, Rows([list(rows)]))) == expected


@pytest.mark.parametrize("seed", range(12))
def test_rows_from_a_place_on_or_between_two_are_those_of_the_whole_list(seed):
    chance = random.Random(seed)
    rows = Rows()
    while len(rows) < 100:  # some feeds take hardly any of the lines made up
        rows = decoded(chance, 400)
    first = chance.randrange(len(rows) // 2)
    last = chance.randrange(first + 1, len(rows))
    every = list(rows)
    assert rows[first:last] == every[first:last]
    assert rows[first:last:3] == every[first:last:3]
    assert rows[last:first:-1] == every[last:first:-1]
    assert (rows[first], rows[-1], rows[-first - 1]) == (every[first], every[-1], every[-first - 1])
    assert rows.torches() == {row[4] for row in every}
    rest = rows.since(first)
    assert (len(rest), list(rest)) == (len(every) - first, every[first:])
    assert read_back(copied(9, rest)) == [(9, row) for row in every[first:]]
    with pytest.raises(IndexError):
        rows[len(every)]


def test_rows_added_one_by_one_and_as_arrays_keep_their_order():
    rows = plain(400)
    every = list(rows)
    [stretch] = rows.parts
    mixed = Rows()
    mixed.extend(every[:7])
    mixed.extend(iter(every[7:9]))
    mixed.add(stretch.part(9, 500))
    mixed.extend([])
    mixed.add(stretch.part(500, 500))
    mixed.extend(every[500:])
    assert (len(mixed), list(mixed)) == (len(every), every)
    assert len(mixed.parts) == 3


def plain(names_every: int) -> Rows:
    columns = ["seq", "time", "signal", "value"]
    reader = plain_reader("7", columns)
    words = (
        "PROGRAM,a.nc" if n % names_every == 0 else "AMPS,61.5" if n % 2 else "ARC ON,"
        for n in range(1_000)
    )
    lines = [f"{n},2026-06-01T00:00:{n // 50:02},{word}\n" for n, word in enumerate(words)]
    return Rows([RowBlock(reader.read("".join(lines).encode(), columns).lines, 5, 3)])


@pytest.mark.parametrize("names_every", [3, 400])
def test_lines_with_names_stay_in_their_place_few_or_many(names_every):
    rows = plain(names_every)
    assert sum(row[5] == PROGRAM for row in rows) == -(-1_000 // names_every)
    assert any(row[5] == SAMPLE_A for row in rows)
    assert read_back(copied(1, rows)) == [(1, r) for r in rows]


ODD = ("1", "\\N", "a\tb", "c\\d", "e\nf\r", "é", "\\", "")


@pytest.mark.parametrize("said", ODD)
def test_texts_of_any_characters_come_back_as_they_were(said):
    rows = [
        (bytes(range(16)), 1, 2, 3, said, 4, None, said, said, 5, 6, 7),
        (bytes(16), -1, -2, 0, "7", 5, 61.25, None, "s", 5, 6, 7),
    ]
    assert read_back(copied(9, Rows([rows]))) == [(9, row) for row in rows]
