"""Notes on a program before it is cut, by hand; each with its line."""

from __future__ import annotations

import pytest

from planning.calc.program import read_program
from planning.calc.program.checks import edge_notes, outside_sheet, small_holes

PLATE = """G21 G90
G0 X52.5 Y50
M3
G3 I-2.5 J0
M5
G0 X30 Y30
M3
G3 I-10 J0
M5
G0 X0 Y0
M3
G1 X100
Y100
X0
Y0
M5
"""


def contours(text: str):
    return read_program(text.encode()).contours


def told(notes):
    return [(note.line, note.text) for note in notes]


def test_a_hole_narrower_than_the_plate_is_named_with_its_line():
    [(line, text)] = told(small_holes(contours(PLATE), 6.35))
    assert line == 3
    assert "contour 1: a hole 5 mm wide in 6.35 mm plate" in text
    assert not small_holes(contours(PLATE), 5.0)
    assert len(small_holes(contours(PLATE), 25.0)) == 2


def test_a_slot_is_as_wide_as_its_narrow_side():
    slot = "G0 X20 Y40\nM3\nG1 X80\nY44\nX20\nY40\nM5\n"
    [(_, text)] = told(small_holes(contours(slot + PLATE), 4.5))
    assert "a hole 4 mm wide" in text


def test_a_small_part_is_no_small_hole():
    assert not small_holes(contours("M3\nG1 X4\nY4\nX0\nY0\nM5"), 6.0)


def test_what_reaches_beyond_the_sheet_is_named_with_its_line():
    beside = PLATE + "G0 X480 Y0\nM3\nG1 X530\nY50\nX480\nY0\nM5\n"
    [(line, text)] = told(outside_sheet(contours(beside), 500, 250))
    assert (line, text) == (18, "contour 4 reaches 30 mm beyond a sheet of 500 x 250 mm")
    assert not outside_sheet(contours(beside), 530, 250)


def test_below_zero_is_beyond_the_sheet_unless_all_lies_there():
    corner = "G0 X-20 Y0\nM3\nG1 X30\nY30\nX-20\nY0\nM5\n"
    assert "contour 1 reaches 20 mm beyond" in outside_sheet(contours(corner), 100, 100)[0].text
    # A zero in the right corner: the sheet lies to its left.
    left = "G0 X-80 Y0\nM3\nG1 X-10\nY30\nX-80\nY0\nM5\n"
    assert not outside_sheet(contours(left), 100, 100)


def test_a_layout_that_fits_turned_is_said_so():
    tall = "G0 X0 Y0\nM3\nG1 X200\nY480\nX0\nY0\nM5\n"
    [(line, text)] = told(outside_sheet(contours(tall), 500, 250))
    assert line == 2
    assert "only if the sheet is turned" in text


@pytest.mark.parametrize(
    ("units", "said"),
    [
        ("G21", "were it in inches; the program is read in millimetres"),
        ("G20", ""),
    ],
)
def test_inches_read_as_millimetres_are_caught_against_the_sheet(units, said):
    # 96 x 48 inches on a sheet of 2500 x 1250 mm.
    text = f"{units}\nM3\nG1 X96\nY48\nX0\nY0\nM5\n"
    notes = told(outside_sheet(contours(text), 2500, 1250))
    assert notes[0][1].endswith(said) if said else not notes, notes


def test_millimetres_read_as_inches_are_caught_against_the_sheet():
    notes = told(outside_sheet(contours("G20\nM3\nG1 X2400\nY1200\nX0\nY0\nM5"), 2500, 1250))
    assert len(notes) == 1
    assert "were it in millimetres" in notes[0][1]


def test_a_few_small_parts_on_a_large_sheet_are_no_mix_of_units():
    assert not outside_sheet(contours("M3\nG1 X30\nY30\nX0\nY0\nM5"), 2500, 1250)


def test_edges_burnt_twice_and_edges_borrowed_are_said():
    square = "G0 X0 Y0\nM3\nG1 X100\nY100\nX0\nY0\nM5\n"
    twice = square + "G0 X100 Y0\nM3\nG1 X150\nY100\nX100\nY0\nM5\n"
    [(line, text)] = told(edge_notes(contours(twice)))
    assert (line, text) == (
        9, "contour 2 runs 100 mm along an edge of contour 1: that is burnt twice"
    )  # fmt: skip
    once = square + "G0 X100 Y0\nM3\nG1 X150\nY100\nX100\nM5\n"
    [(line, text)] = told(edge_notes(contours(once)))
    assert (line, text) == (
        9, "contour 2 borrows an edge of 100 mm from contour 1: each carries half of it"
    )  # fmt: skip
