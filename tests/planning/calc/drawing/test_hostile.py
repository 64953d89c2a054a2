"""Files that are broken, hostile or huge: a clear error that names the place, or an answer."""

from __future__ import annotations

import io
import re
import threading
import time
from contextlib import suppress
from itertools import pairwise

import ezdxf
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from planning.calc.drawing import DrawingError, entities, read_drawing
from planning.calc.drawing.document import open_document
from tests.planning.calc.drawing.made import binary, dxf, square

GOOD = dxf(square)


@pytest.mark.parametrize(
    ("raw", "said"),
    [
        (b"", "is empty"),
        (b" \n \n", "is empty"),
        (b"G21\nM3\n", "not a DXF"),
        (b"\x00\x01\x02" * 50, "not a DXF"),
        (b"%PDF-1.7\n", "is a PDF"),
        (b"PK\x03\x04rest", "ZIP archive"),
        (b"AC1027\x00\x00", "is a DWG"),
        (GOOD[: len(GOOD) // 2], "cut short"),
        (GOOD[:-6], "cut short"),
        (binary(square)[:-10], "cut short"),
        (b"0\nSECTION\n0\nEOF\n", "."),
        (b"0\nSECTION\n2\nENTITIES\n0\nLINE\n10\nabc\n0\nENDSEC\n0\nEOF\n", "."),
        (b"hello\nSECTION\n2\nENTITIES\n0\nENDSEC\n0\nEOF\n", "."),
    ],
)
def test_what_is_no_drawing_is_said(raw, said):
    with pytest.raises(DrawingError, match=said):
        read_drawing(raw)


def test_a_file_cut_at_any_place_is_refused_or_whole():
    for at in range(0, len(GOOD) - 4, 997):
        with pytest.raises(DrawingError):
            read_drawing(GOOD[:at])


@pytest.mark.parametrize("bad", ["nan", "inf", "-inf", "1e300", "2e7"])
def test_a_coordinate_that_is_none_names_entity_and_layer(bad):
    def draw(space):
        space.add_line((0, 0), (123.25, 7), dxfattribs={"layer": "OUTLINE"})

    raw = dxf(draw).replace(b"123.25", bad.encode())
    with pytest.raises(DrawingError, match="LINE on layer OUTLINE") as caught:
        read_drawing(raw)
    assert re.fullmatch(r"[0-9A-F]+", caught.value.place)


def test_a_bad_entity_on_a_layer_left_out_hurts_nobody():
    def draw(space):
        square(space)
        space.add_line((0, 0), (123.25, 7), dxfattribs={"layer": "NOTES"})

    assert read_drawing(dxf(draw).replace(b"123.25", b"nan")).cut_mm == 400


def test_a_radius_below_zero_is_named():
    def draw(space):
        space.add_circle((0, 0), 12.125)

    with pytest.raises(DrawingError, match=r"its radius is -12\.125"):
        read_drawing(dxf(draw).replace(b"12.125", b"-12.125"))


def test_a_block_that_inserts_itself_is_refused():
    def draw(space):
        block = space.doc.blocks.new("LOOP")
        block.add_circle((0, 0), 1)
        block.add_blockref("LOOP", (1, 1))
        space.add_blockref("LOOP", (0, 0))

    with pytest.raises(DrawingError, match="Block LOOP on layer 0 inserts itself"):
        read_drawing(dxf(draw))


def test_blocks_that_multiply_without_end_are_refused(monkeypatch):
    monkeypatch.setattr(entities, "MOST_CURVES", 2_000)

    def draw(space):
        space.doc.blocks.new("B0").add_circle((0, 0), 1)
        for level in range(1, 9):
            block = space.doc.blocks.new(f"B{level}")
            for k in range(10):
                block.add_blockref(f"B{level - 1}", (k, level))
        space.add_blockref("B8", (0, 0))

    with pytest.raises(DrawingError, match="more than 2,000 curves"):
        read_drawing(dxf(draw))


def test_a_grid_of_a_billion_is_refused():
    def draw(space):
        space.doc.blocks.new("H").add_circle((0, 0), 5)
        space.add_blockref("H", (0, 0)).grid((30_000, 30_000), (20, 20))

    with pytest.raises(DrawingError, match="is inserted 900,000,000 times"):
        read_drawing(dxf(draw))


def test_an_insert_of_a_missing_block_is_told():
    def draw(space):
        square(space)
        space.add_blockref("GONE", (0, 0))

    assert any("there is no block GONE" in each.text for each in read_drawing(dxf(draw)).faults)


def test_what_stands_after_the_end_mark_is_not_read():
    assert read_drawing(GOOD + b"\nrubbish\n").cut_mm == 400


def test_a_layer_named_in_bytes_that_are_no_text_has_a_name_to_show_and_keeps_its_state():
    def draw(space):
        space.doc.layers.add("SPARE", color=1).off()
        square(space)
        space.add_circle((200, 200), 5, dxfattribs={"layer": "SPARE"})

    read = read_drawing(dxf(draw).replace(b"SPARE", b"SP\xbf\xd2E"))
    assert {each.name: each.role for each in read.layers} == {
        "0": "cut",
        r"SP\udcbf\udcd2E": "ignore",
    }


def test_bytes_that_are_no_text_are_told_as_text_and_logged_nowhere(caplog):
    for damage in (b"\nLAYE\xbf\xd2", b"\xbb\x9b "):
        for at in range(0, len(GOOD) - 8, 97):
            with suppress(DrawingError):
                read_drawing(GOOD[:at] + damage + GOOD[at + len(damage) :])
    with pytest.raises(DrawingError) as refused:
        raise DrawingError('Invalid group code "\udcbb"', "2047")
    assert str(refused.value) == '2047: Invalid group code "\\udcbb"'
    own = threading.current_thread().name  # another test's thread may still log
    assert [one for one in caplog.records if one.threadName == own] == []


@pytest.mark.parametrize(("invisible", "kind"), [("", "FOOBAR"), (" 60\n1\n", "invisible FOOBAR")])
def test_a_kind_of_entity_nobody_knows_is_passed_over_on_its_own_layer(invisible, kind):
    drawing = ezdxf.new()
    drawing.modelspace().add_circle((0, 0), 5, dxfattribs={"layer": "CUT"})
    written = io.StringIO()
    drawing.write(written)
    text = written.getvalue()
    entity = f"  0\nFOOBAR\n  5\nFFF1\n330\n17\n100\nAcDbEntity\n  8\nODD\n{invisible}"
    at = text.rindex("  0\n", 0, text.index("\nCIRCLE\n") + 1)
    found = entities.collect(open_document((text[:at] + entity + text[at:]).encode()).document, 1.0)
    assert found.passed == {(kind, "ODD"): 1}
    assert len(found.strands) == 1


@settings(max_examples=60, deadline=None)
@example(10790, b"\x00")  # once broke the reading: a kind of entity that the reader does not know
@given(st.integers(0, len(GOOD) - 1), st.binary(min_size=1, max_size=8))
def test_damage_anywhere_ends_in_an_answer_or_a_drawing_error(at, damage):
    raw = GOOD[:at] + damage + GOOD[at + len(damage) :]
    with suppress(DrawingError):  # any other error fails the test
        assert read_drawing(raw).pierces >= 0


@pytest.mark.long
def test_100_000_lines_are_read_within_seconds():
    def draw(space):
        for i in range(158):
            for j in range(158):
                x, y = i * 10, j * 10
                corners = [(x, y), (x + 8, y), (x + 8, y + 8), (x, y + 8), (x, y)]
                for start, end in pairwise(corners):
                    space.add_line(start, end)

    raw = dxf(draw)
    start = time.process_time()
    drawing = read_drawing(raw)
    assert time.process_time() - start < 30
    assert drawing.pierces == 158 * 158
    assert drawing.net_area_mm2 == pytest.approx(158 * 158 * 64)
