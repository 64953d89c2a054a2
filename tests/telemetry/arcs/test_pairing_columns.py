"""Arcs by arrays are those that one line after the other gives, as rows and as they are copied."""

from __future__ import annotations

import random
import struct

import pytest

from telemetry.arcs import pairing_columns as pairing_many
from telemetry.arcs.pairing import Pairer
from telemetry.decode.row_blocks import ColumnBlock, RowBlock
from telemetry.decode.row_list import Rows
from telemetry.events import ARC_ON
from telemetry.models import Feed
from telemetry.services import feed_register
from telemetry.store import copy_form
from telemetry.store.open_arcs import OpenArcs
from telemetry.store.rows import ArcRow, NewArcs, arc_row
from tests.telemetry.decode.test_columnar import plain_reader
from tests.telemetry.table_lines import feed_text

COLUMNS = ["seq", "time", "signal", "value"]
FEED = Feed(pk=9, name="north", table="T é")


def lines_of(chance: random.Random, count: int) -> ColumnBlock:
    reader = plain_reader("1", COLUMNS)
    text, at_ms = [], 0
    kinds = ["ARC ON", "ARC OFF", "PIERCE", "AMPS", "VOLTS", "PROGRAM"]
    weights = chance.choice([(3, 3, 3, 3, 3, 1), (3, 3, 3, 9, 9, 0), (9, 1, 1, 1, 1, 1)])
    for n in range(1, count + 1):
        at_ms += chance.choice([0, 1, 250, 900])
        word = chance.choices(kinds, weights)[0]
        value = {"PROGRAM": f"n{n}.nc", "AMPS": chance.choice(["0", "0.1", "61", "61.37"]),
                 "VOLTS": chance.choice(["0.0", "121.3", "99.99", "-5"])}.get(word, "")  # fmt: skip
        clock = f"{at_ms // 60_000:02}:{at_ms // 1000 % 60:02}.{at_ms % 1000:03}"
        text.append(f"{n},2026-06-01T00:{clock},{word},{value}\n")
    block = reader.read("".join(text).encode(), COLUMNS)
    assert block.plain.all()
    return block.lines


def singly(pairer: Pairer, lines: ColumnBlock) -> tuple[list[ArcRow], list[int]]:
    arcs, strays = [], []
    for ended, row in pairer.take_all(lines.rows(5, 3)):
        if ended is None:
            strays.append(row[2])
        else:
            arcs.append(arc_row(FEED, ended, FEED.table, (3, 0)))
    return arcs, strays


@pytest.mark.parametrize("seed", range(150))
def test_arrays_give_the_arcs_strays_and_state_that_single_lines_give(seed):
    chance = random.Random(seed)
    lines = lines_of(chance, chance.choice([70, 200, 400]))
    knows = chance.random() < 0.8
    one = Pairer("1", knows_pierces=knows, program=chance.choice([None, "old.nc"]))
    many = Pairer.from_state(one.state())
    first = pairing_many.first_start(lines)
    assert first == next(at for at, kind in enumerate(lines.kinds.tolist()) if kind == ARC_ON)
    head = singly(many, lines.part(0, first + 1))
    arcs, strays = pairing_many.take_many(many, lines.part(first, len(lines)))
    rows = NewArcs(FEED, arcs, FEED.table, 3).rows() if len(arcs) else []
    found = (head[0] + rows, head[1] + [int(lines.seqs[first + place]) for place in strays])
    assert found == singly(one, lines)
    assert many.state() == one.state()
    assert len(rows) > 3


def test_arrays_wait_for_enough_lines_and_an_arc_to_begin_with():
    lines = lines_of(random.Random(1), 70)
    assert pairing_many.first_start(lines.part(0, 63)) is None
    none_begins = lines.kinds.copy()
    none_begins[none_begins == 1] = 3
    assert pairing_many.first_start(ColumnBlock(*(
        none_begins if name == "kinds" else getattr(lines, name) for name in ColumnBlock.__slots__
    ))) is None  # fmt: skip


def copied_back(raw: bytes) -> list[ArcRow]:
    """Rows of a binary COPY of arcs by the types of the table's columns."""
    names = [name.strip('"') for name in copy_form.ARC_COLUMNS.split(", ")]
    forms = {"feed_id": "!q", "on_us": "!q", "off_us": "!q", "first_pierce_us": "!q",
             "feed_version": "!i", "clock_version": "!i", "pierces": "!i", "amps": "!d",
             "volts": "!d", "changed_us": "!q"}  # fmt: skip
    at, rows = 0, []
    while at < len(raw):
        (count,) = struct.unpack("!h", raw[at : at + 2])
        assert count == len(names)
        at += 2
        said = {}
        for name in names:
            (size,) = struct.unpack("!i", raw[at : at + 4])
            value = None if size < 0 else raw[at + 4 : at + 4 + size]
            at += 4 + max(size, 0)
            if value is None:
                said[name] = None
            elif name in forms:
                assert size == struct.calcsize(forms[name])
                (said[name],) = struct.unpack(forms[name], value)
            else:
                said[name] = value.decode()
        assert said.pop("changed_us") == 77
        rows.append(ArcRow(**said))
    return rows


@pytest.mark.parametrize("seed", range(40))
def test_a_copy_of_arcs_says_what_their_rows_say(seed):
    chance = random.Random(seed)
    lines = lines_of(chance, 300)
    pairer = Pairer("1", knows_pierces=seed % 3 > 0, program=chance.choice([None, "á\t\\.nc"]))
    first = pairing_many.first_start(lines)
    singly(pairer, lines.part(0, first + 1))
    arcs, _ = pairing_many.take_many(pairer, lines.part(first, 300))
    new = NewArcs(FEED, arcs, FEED.table, 3)
    assert len(new.rows()) == len(new) > 3
    assert copied_back(copy_form.new_arcs(new, 77)) == new.rows()
    assert copied_back(b"".join(copy_form.arc(row, 77) for row in new.rows())) == new.rows()


@pytest.mark.parametrize("seed", range(20))
def test_values_are_read_to_the_very_double(seed):
    """Python's `float` rounds correctly; so must the arrays."""
    chance = random.Random(seed)
    words = []
    for _ in range(400):
        digits = "".join(chance.choice("0123456789") for _ in range(chance.randrange(1, 17)))
        point = chance.randrange(len(digits) + 1)
        words.append(chance.choice(["", "", "+", "-"]) + digits[:point] + "." + digits[point:])
        words.append(digits)
    lines = [f"{n},2026-06-01T00:00:00,AMPS,{word}\n" for n, word in enumerate(words)]
    reader = plain_reader("1", COLUMNS)
    block = reader.read("".join(lines).encode(), COLUMNS)
    assert block.plain.all()
    assert block.lines.values.tolist() == [float(word) for word in words]
    assert RowBlock(block.lines, 1, 1).rows()[3][6] == float(words[3])


@pytest.mark.django_db
def test_the_open_end_keeps_nothing_of_arcs_that_ended():
    lines = lines_of(random.Random(4), 4_000)
    tail = OpenArcs(feed_register(name="north", text=feed_text("x"), by="test"), pierces=True)
    tail.load({"1"}, 3)
    tail.feed(Rows(RowBlock(lines.part(at, at + 100), 5, 3) for at in range(0, 4_000, 100)))
    assert tail.made("s").many
    assert len(tail._versions) <= 1
