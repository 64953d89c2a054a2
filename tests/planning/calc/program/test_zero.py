"""Shifts of the zero (NISTIR 6556, 3.5.9 and 3.5.18), dwells, planes, checksums, by hand."""

from __future__ import annotations

import pytest

from planning.calc.program import Dialect, ProgramError, read_program
from planning.calc.program.reader import read_plainly


def xs(text: str) -> list[float]:
    return read_program(text.encode()).moves.x.tolist()


@pytest.mark.parametrize(
    ("text", "places"),
    [
        # Offset = machine - origin - value: at 10 the value shall be 0, so 5 lies at 15.
        ("G0 X10\nG92 X0\nG1 X5", [10, 15]),
        ("G0 X10\nG92 X4 Y1\nG1 X5", [10, 11]),
        ("G0 X10\nG92 X0\nG92.1\nX5\nG92.3\nX5", [10, 5, 5]),
        ("G0 X10\nG92 X0\nG92.2\nX5\nG92.3\nX5", [10, 5, 15]),
        ("G0 X10\nG92 Y3\nX5", [10, 5]),
        ("G10 L2 P1 X100\nG0 X1", [101]),
        ("G10 L2 P2 X100\nG0 X1\nG55 X1\nG54 X1", [1, 101, 1]),
        ("G10 L2 P0 X50\nG0 X1", [51]),
        ("G0 X10\nG10 L20 P1 X0\nX5", [10, 15]),
        ("G10 L2 P2 X100\nG55 G0 X1\nG92 X0\nX1\nG92.1\nX1", [101, 102, 101]),
        ("G20\nG10 L2 P1 X1\nG0 X1", [50.8]),
        ("G0 X10\nG92 X0\nG91 X5\nG90 X1", [10, 15, 11]),
        ("G0 X10\nG92 X0\nG53 X2\nX2", [10, 2, 12]),
    ],
)
def test_places_from_a_shifted_zero(text, places):
    assert xs(text) == pytest.approx(places)


def test_long_straight_stretches_are_shifted_too():
    text = ("G0 X10\nG92 X0 Y0\n" + "G1 X5 Y2\nX6\n" * 30).encode()
    assert read_program(text).moves.x.tolist() == read_plainly(text).moves.x.tolist()
    assert read_program(text).moves.x[-1] == 16


def test_absolute_arc_centres_lie_where_the_zero_does():
    text = "G0 X30\nG92 X10 Y0\nG90.1 G3 X0 Y10 I0 J0"
    arc = read_program(text.encode()).moves
    assert (arc.cx[1], arc.cy[1], arc.x[1]) == (20, 0, 20)


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("G10 L2 P1 R45", "turns the coordinate system"),
        ("G10 L2 P12 X1", "no coordinate system P12"),
        ("G18\nG0 X1\nG2 X5 I2 J0", r"outside the XY plane \(G18\)"),
    ],
)
def test_what_would_bend_the_path_is_refused(text, said):
    with pytest.raises(ProgramError, match=said):
        read_program(text.encode())


def test_another_plane_matters_only_to_arcs():
    assert xs("G18\nG0 X1\nG17 G2 X3 I1 J0") == [1, 3]


@pytest.mark.parametrize(
    ("text", "seconds", "noted"),
    [
        ("G4 P0.5", 0.5, False),
        ("G4 X0.5", 0.5, True),
        ("G04 S2", 2, True),
        ("G4 U1.5", 1.5, True),
        ("G4 F3", 3, True),
    ],
)
def test_dwells_in_their_forms(text, seconds, noted):
    program = read_program(f"G0 X1\n{text}".encode())
    assert [dwell.seconds for dwell in program.dwells] == [seconds]
    assert bool(program.notes) == noted


def test_a_dwell_of_minutes_names_the_setting():
    program = read_program(b"G0 X1\nG4 P500")
    assert "milliseconds" in program.notes[0].text
    milli = read_program(b"G0 X1\nG4 P500", Dialect(dwell_unit="ms"))
    assert (milli.dwells[0].seconds, milli.notes) == (0.5, ())


def test_checksums_and_nested_comments_are_read_past():
    assert xs("N1 G0 X1*33\nN2 X2 (a (b) c)*7\nN3 X3 ; (*9") == [1, 2, 3]


def test_a_program_whose_torch_no_code_lights_names_the_setting():
    program = read_program(b"G0 X1\nM17\nG1 X5\nM18\n")
    assert "M17, M18 passed over: which code lights it is a setting" in program.notes[-1].text
    lit = read_program(b"G0 X1\nM17\nG1 X5\nM18\n", Dialect(torch_on=("M17",), torch_off=("M18",)))
    assert (len(lit.contours), lit.notes) == (1, ())
