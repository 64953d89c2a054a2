"""Edges cut once for two parts, and edges burnt twice, by hand."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from planning.calc.program import read_program
from planning.calc.program.common import burnt_twice, own_shares

SQUARE = "G0 X0 Y0\nM3\nG1 X100\nY100\nX0\nY0\nM5\n"
# The neighbour to the right borrows the edge x = 100 from y 0 to 100.
BESIDE = "G0 X100 Y0\nM3\nG1 X180\nY100\nX100\nM5\n"


def contours(text: str):
    return read_program(text.encode()).contours


def test_a_part_that_borrows_an_edge_has_its_area():
    first, second = contours(SQUARE + BESIDE)
    assert (second.closed, second.common_with, second.common_mm) == (False, 1, 100.0)
    assert second.net_area_mm2 == pytest.approx(8000)
    assert first.net_area_mm2 == pytest.approx(10_000)


def test_each_carries_half_of_the_common_edge():
    found = contours(SQUARE + BESIDE)
    shares = own_shares(found)
    # 400 mm cut, 50 of them for the neighbour; 260 mm cut and 50 borrowed.
    assert shares == {1: pytest.approx(350 / 400), 2: pytest.approx(310 / 260)}
    assert sum(shares[c.number] * c.length_mm for c in found) == pytest.approx(660)


def test_a_hole_in_the_borrowing_part_is_taken_off():
    hole = "G0 X150 Y50\nM3\nG3 I-10 J0\nM5\n"
    _, _, found = contours(SQUARE + hole + BESIDE)
    assert found.net_area_mm2 == pytest.approx(8000 - 100 * math.pi)


def test_the_borrowed_edge_may_run_along_an_arc():
    # A disc of r 50, and a part that wraps its upper half: 120 x 70 less the half disc.
    disc = "G0 X50 Y0\nM3\nG3 I-50 J0\nM5\n"
    over = "G0 X50 Y0\nM3\nG1 X60\nY70\nX-60\nY0\nX-50\nM5\n"
    _, found = contours(disc + over)
    assert found.common_mm == pytest.approx(50 * math.pi, rel=2e-4)  # drawn in chords
    # Chords 0.02 mm inside the arc leave out two thirds of that by its length: 2.1 mm2.
    assert found.net_area_mm2 == pytest.approx(120 * 70 - 1250 * math.pi, abs=2.2)


def test_an_open_cut_elsewhere_borrows_nothing():
    assert contours(SQUARE + "G0 X300 Y0\nM3\nG1 X380\nY100\nX300\nM5\n")[1].common_with is None
    # One end on the edge only.
    assert contours(SQUARE + "G0 X100 Y0\nM3\nG1 X180\nY100\nX150\nM5\n")[1].area_mm2 is None


def test_borrowing_goes_on_from_part_to_part():
    third = "G0 X180 Y0\nM3\nG1 X200\nY100\nX180\nM5\n"
    found = contours(SQUARE + BESIDE + third)
    assert [c.common_with for c in found] == [None, 1, 2]
    assert found[2].net_area_mm2 == pytest.approx(2000)


def test_an_edge_burnt_twice_is_found_with_its_length():
    whole = "G0 X100 Y20\nM3\nG1 X180\nY90\nX100\nY20\nM5\n"
    [(later, earlier, length)] = burnt_twice(contours(SQUARE + whole))
    assert (later.number, earlier.number, length) == (2, 1, pytest.approx(70))


def test_parts_a_kerf_apart_are_not_burnt_twice():
    assert not burnt_twice(contours(SQUARE + "G0 X101.8 Y0\nM3\nG1 X180\nY90\nX101.8\nY0\nM5\n"))


@given(st.floats(0, math.tau), st.floats(-500, 500), st.floats(-500, 500), st.floats(5, 90))
def test_turning_and_moving_the_sheet_changes_neither_areas_nor_lengths(turn, dx, dy, wide):
    def at(x, y):
        return (
            f"X{dx + x * math.cos(turn) - y * math.sin(turn):.6f} "
            f"Y{dy + x * math.sin(turn) + y * math.cos(turn):.6f}"
        )

    square = [(0, 0), (100, 0), (100, 100), (0, 100), (0, 0)]
    beside = [(100, 0), (100 + wide, 0), (100 + wide, 100), (100, 100)]
    text = ""
    for path in (square, beside):
        text += f"G0 {at(*path[0])}\nM3\nG1 " + "\n".join(at(*p) for p in path[1:]) + "\nM5\n"
    _, found = contours(text)
    assert found.common_mm == pytest.approx(100, abs=1e-3)
    assert found.net_area_mm2 == pytest.approx(100 * wide, rel=1e-4)
