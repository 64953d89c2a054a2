"""Rules of NISTIR 6556 (Kramer, Proctor, Messina 2000) unless a test says otherwise."""

from __future__ import annotations

import math
from pathlib import Path

import gcodeparser
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from planning.calc.program import Dialect, ProgramError, read_program

PROGRAMS = Path(__file__).parents[4] / "fixtures" / "programs"


def read(text: str, **dialect):
    return read_program(text.encode(), Dialect(**dialect))


def ends(program):
    return list(zip(program.moves.x.tolist(), program.moves.y.tolist(), strict=True))


def test_case_spaces_comments_and_line_numbers_change_nothing():
    plain = read("G21 G90\nG0 X10 Y20\nM3\nG1 X30.5 Y-4 F1000\nM5\n")
    dressed = read(
        "%\r\nn5 (a; b) g 2 1 g90 ; rest (of it\r\n\r\nN10g0x1 0y+20.\r\n/ m03\r\n"
        "g01 X 3 0 . 5 (up) Y-4.0 f1000\r\nM05\r\n%\r\nanything"
    )
    assert ends(plain) == ends(dressed) == [(10, 20), (30.5, -4)]
    assert plain.moves.torch.tolist() == dressed.moves.torch.tolist() == [False, True]
    assert [note.line for note in dressed.notes] == [5, 9]


def test_bare_axis_words_repeat_the_last_motion():
    program = read_program((PROGRAMS / "bare_modal.nc").read_bytes())
    assert ends(program) == [
        (10, 10),
        (40, 10),
        (40, 30),
        (10, 30),
        (10, 10),
        (100, 100),
        (100, 100),
    ]
    # By hand: 2 x (30 + 20), then a full circle of radius 10 about (110, 100).
    cut = program.moves.length_mm[program.moves.torch]
    assert cut.sum() == pytest.approx(100 + math.tau * 10, rel=1e-12)


def test_inches_and_millimetres_in_one_program():
    program = read("G20 G0 X1 Y0 F10\nG21 X50.8\nG1 Y1 F10\nG20 Y1\nG91 X1")
    assert program.moves.x.tolist() == pytest.approx([25.4, 50.8, 50.8, 50.8, 76.2])
    assert program.moves.y.tolist() == pytest.approx([0, 0, 1, 25.4, 25.4])
    assert program.moves.feed_mm_min[2] == 10


def test_feed_is_kept_in_mm_per_minute():
    assert read("G20 G1 X1 F10").moves.feed_mm_min.tolist() == [254]
    assert np.isnan(read("G1 X1").moves.feed_mm_min).all()


def test_inverse_time_is_moves_a_minute():
    # F2: half a minute for 50 mm, so 100 mm/min. At F0.001 the floor of 0.1 unit/min holds.
    moves = read("G21 G93 G1 X50 F2\nX51 F0.001").moves
    assert moves.feed_mm_min.tolist() == pytest.approx([100, 0.1])
    with pytest.raises(ProgramError, match="line 2: G93"):
        read("G93 G1 X50 F2\nX60")
    assert np.isnan(read("G93 G1 X5 F2\nG94 X9").moves.feed_mm_min[1])


def test_absolute_arc_centres_by_code_and_by_dialect():
    by_code = read("G90.1 G0 X10 Y0\nG3 X0 Y10 I0 J0\nG91.1 X-10 Y0 I0 J-10")
    assert by_code.moves.length_mm[1:].tolist() == pytest.approx([math.pi * 5] * 2)
    by_dialect = read("G0 X10 Y0\nG3 X0 Y10 I0 J0", arc_centres_absolute=True)
    assert by_dialect.moves.length_mm[1] == pytest.approx(math.pi * 5)


def test_arc_lengths_in_a_program():
    # Worked out with reference libraries: checked to the six decimals given.
    moves = read("G2 X10 Y15 R20\nG0 X0 Y0\nG2 X10 Y15 R-20\nG0 X0 Y0\nG2 I5 J0").moves
    lengths = moves.length_mm[[0, 2, 4]]
    assert lengths.tolist() == pytest.approx([18.701701, 106.962005, 31.415927], abs=1e-6)


def test_torch_codes_are_a_setting():
    text = "G0 X1\nM07\nG1 X2\nM8\nG0 X3\nM3\nM5"
    program = read(text, torch_on=("M7",), torch_off=("m08",))
    assert program.moves.torch.tolist() == [False, True, False]
    assert [(n.line, n.text) for n in program.notes] == [
        (6, "M3 is passed over"),
        (7, "M5 is passed over"),
    ]
    for bad in (("X",), ("M",), ("M3", "M8")):
        with pytest.raises(ValueError, match="code"):
            read(text, torch_on=bad, torch_off=("M8",))


def test_dwell_with_the_torch_on_belongs_to_its_arc():
    program = read("G4 P1\nG0 X1\nM3\nG4 P0.5\nG1 X2\nM5\nG4 P2\nM3\nG4 P0.25\nM5")
    assert [(d.seconds, d.torch, d.arc) for d in program.dwells] == [
        (1, False, 0), (0.5, True, 0), (2, False, 1), (0.25, True, 1),
    ]  # fmt: skip


def test_dwell_word_and_unit_are_settings():
    assert read("G4 X500", dwell_word="X", dwell_unit="ms").dwells[0].seconds == 0.5
    with pytest.raises(ProgramError, match="line 1: G4 without"):
        read("G4 Z500")


def test_path_control_is_kept_block_by_block():
    moves = read("G1 X1\nG61 X2\nX3\nG61.1 X4\nG64 P0.2 X5\nG20 G64 P0.01 X1\nG64 X2").moves
    assert moves.exact_stop.tolist() == [False, True, True, True, False, False, False]
    assert moves.tolerance_mm[4:6].tolist() == pytest.approx([0.2, 0.254])
    assert np.isnan(moves.tolerance_mm[[0, 1, 6]]).all()


def test_the_table_rests_at_torch_changes_dwells_pauses_and_lone_z():
    moves = read(
        "G0 X1\nM3\nG1 X2\nX3\nG4 P1\nX4\nM0\nX5\nM5\nG0 X6\nZ5\nX7\nG0 X8 Z1\nX9\nM30"
    ).moves
    expected = [True, False, True, True, True, True, False, False, True]
    assert moves.stop_after.tolist() == expected


def test_home_goes_through_the_given_place_to_zero():
    program = read("G0 X50 Y50\nG28 X60\nG28 Z0\nG28")
    assert ends(program) == [(50, 50), (60, 50), (0, 50), (0, 0)]


def test_the_torch_left_burning_is_said():
    program = read_program((PROGRAMS / "torch_left_on.nc").read_bytes())
    assert program.left_burning
    said = {note.line: note.text for note in program.notes}
    assert "left burning" in said[8]
    assert said[5] == "M7 is passed over"
    assert "programmed path" in said[6]


def test_what_follows_the_end_is_not_read():
    program = read("G0 X1\nM2\nG0 X2\n")
    assert ends(program) == [(1, 0)]
    assert [note.line for note in program.notes] == [3]


def test_many_notes_of_a_kind_are_counted_rather_than_listed():
    program = read("G0 X1\n" + "M8\n" * 50)
    assert len(program.notes) == 21
    assert program.notes[-1].line == 51
    assert "30 more" in program.notes[-1].text


def test_zero_point_set_where_the_torch_is_changes_nothing():
    assert ends(read("G92 X0 Y0\nG0 X5\nG92 X5\nG1 X7")) == [(5, 0), (7, 0)]


@pytest.mark.parametrize(
    ("text", "line", "said"),
    [
        ("", 1, "no block"),
        ("(only a comment)\n%", 1, "no block"),
        ("G0 X1\nX", 2, "no number after X"),
        ("G0 X1..2", 1, "not a word"),
        ("G0 X--1", 1, "no number"),
        ("G0 X1 X2", 1, "X is given twice"),
        ("G0 (open", 1, "not closed"),
        ("G0 (a (b c)", 1, "not closed"),
        ("G0 X1)", 1, "closes no comment"),
        ("G0 X#1", 1, "no value"),
        ("G0 X[1+2", 1, "is missing"),
        ("G0\nG1 X1e-05", 2, "written out"),
        ("G0 G1 X1", 1, "G0 and G1"),
        ("G90 G91", 1, "G90 and G91"),
        ("X1", 1, "no G0, G1, G2 or G3"),
        ("G0 X1\nG80\nX2", 3, "no G0"),
        ("G2 X1", 1, "needs I or J"),
        ("G2 X10 R5 I5", 1, "at once"),
        ("G2 X10 Y0 I4 J0", 1, "radius"),
        ("G2 I0 J0", 1, "centre"),
        ("G2 R5", 1, "full circle"),
        ("G2 X20 R5", 1, "too small"),
        ("G90.1 G2 X10 I5", 1, "both I and J"),
        ("G2 X10 I5 P3", 1, "turns"),
        ("G1 X10 I5", 1, "straight"),
        ("G4", 1, "G4"),
        ("G4 P-1", 1, "below zero"),
        ("G1 X1 F-5", 1, "feed"),
        ("G19 G2 X1 I.5 J0", 1, "G19"),
        ("G68 R45", 1, "rotation"),
        ("G81 X1 Y1", 1, "canned"),
        ("G123 X5", 1, "may change the path"),
        ("G0 X1\nM98 P1000", 2, "not in this program"),
        ("G0 U5", 1, "U moves"),
        ("M3 M5", 1, "in one block"),
        ("G1 X1 F" + "9" * 310, 1, "F with a number above"),
        ("G4 P" + "9" * 400, 1, "P with a number above"),
        ("G" + "9" * 400, 1, "G with a number above"),
        ("G1 X1 F." + "0" * 310 + "1", 1, "feed rate"),
        ("G0 X9999999", 1, "km"),
        ("G0 X" + "9" * 400, 1, "km"),
        ("\xff\xfeG", 1, "not a word"),
    ],
)
def test_what_cannot_be_read_is_refused_with_its_line(text, line, said):
    with pytest.raises(ProgramError, match=said) as caught:
        read_program(text.encode("utf-8"))
    assert caught.value.line == line


@pytest.mark.parametrize("first", ["G0 G40 G49 G50 G80 G94", "G80 G0"])
def test_cycles_may_be_ended_beside_a_motion_code(first):
    assert ends(read(f"{first}\nX5")) == [(5.0, 0.0)]


def test_unknown_codes_that_move_nothing_are_noted():
    program = read("G0 X1\nG123\nM66 P1\nG43 H1\nS100 T2")
    assert [(n.line, n.text) for n in program.notes] == [
        (2, "G123 is passed over"),
        (3, "M66 is passed over"),
        (4, "G43 is passed over"),
    ]


def test_other_encodings_do_not_stop_comments():
    assert ends(read_program(b"\xef\xbb\xbfG0 X1 (caf\xe9)\n; \xff\nX2\x1a")) == [(1, 0), (2, 0)]
    with pytest.raises(ProgramError, match="UTF-16"):
        read_program("G0 X1".encode("utf-16"))


number = st.decimals(-500, 500, places=4).map(str)


@given(st.lists(st.tuples(st.sampled_from(["G0", "G1"]), number, number), min_size=1, max_size=40))
def test_lengths_agree_with_a_general_reader(blocks):
    """gcodeparser, a general-purpose reader from the package index, reads words of plain programs
    (it drops bare modal lines, so every line carries its G)."""
    text = "G21\nG90\n" + "\n".join(f"{g} X{x} Y{y}" for g, x, y in blocks)
    x = y = 0.0
    lengths = []
    for line in gcodeparser.parse_gcode_lines(text):
        if line.type == gcodeparser.Commands.MOVE:
            nx, ny = float(line.get_param("X")), float(line.get_param("Y"))
            lengths.append(math.hypot(nx - x, ny - y))
            x, y = nx, ny
    assert read(text).moves.length_mm.tolist() == pytest.approx(lengths, rel=1e-12, abs=1e-12)


words = st.sampled_from(
    ["N5", "G0", "G01", "G1", "G2", "X1", "X-2.25", "Y.5", "Y+3.", "G91", "G90", "G20", "G21", "M3",
     "M5", "F100", "G61", "G80", "G93", "R9", "Z2"]
)  # fmt: skip


@given(st.lists(st.lists(words, min_size=1, max_size=4), max_size=20))
def test_the_short_way_for_straight_moves_changes_nothing(blocks):
    """An empty S0 word keeps a block off the short way and is passed over in silence."""
    found = []
    for tail in ("", " S0"):
        try:
            program = read("\n".join(" ".join(block) + tail for block in blocks))
        except ProgramError as error:
            found.append((error.line, error.message))
        else:
            moves = program.moves
            arrays = (moves.kind, moves.x, moves.y, moves.line, moves.torch, moves.length_mm,
                      moves.stop_after, moves.exact_stop)  # fmt: skip
            found.append(([a.tolist() for a in arrays], program.notes, program.blocks))
    assert found[0] == found[1]


@given(st.binary(max_size=200))
def test_no_bytes_do_more_than_be_refused(text):
    program, refused = None, None
    try:
        program = read_program(text)
    except ProgramError as error:
        refused = error
    if refused is not None:
        assert 1 <= refused.line <= text.count(b"\n") + text.count(b"\r") + 1
    else:
        assert np.isfinite(program.moves.length_mm).all()


@given(st.lists(st.sampled_from(
    ["G0", "G1", "G2", "G3", "X1", "Y2", "X-3.5", "I1", "J2", "R5", "M3", "M5", "G91", "G90", "G20",
     "G93", "F10", "G4", "P1", "\n", "\n", "\n", "G61", "M30", "%", "G28", "Z1"]
), max_size=40))  # fmt: skip
def test_any_string_of_words_is_read_or_refused(words):
    try:
        program = read_program(" ".join(words).encode())
    except ProgramError:
        return
    moves = program.moves
    assert np.isfinite(moves.length_mm).all()
    assert len(moves.arc) == len(moves.x)
    assert moves.arc.max(initial=-1) < len(program.arc_lines)
    assert len(program.contours) == len(program.arc_lines)
