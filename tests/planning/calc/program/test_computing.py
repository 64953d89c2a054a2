"""Programs that compute: places worked out by hand, and a program against itself written out."""

from __future__ import annotations

import math
import re

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from planning.calc.program import Dialect, ProgramError, computing, read_program


def ends(text: str, **dialect):
    moves = read_program(text.encode(), Dialect(**dialect)).moves
    return [(round(x, 9), round(y, 9)) for x, y in zip(moves.x, moves.y, strict=True)]


def xs(text: str, **dialect):
    return [x for x, _ in ends(text, **dialect)]


def test_a_setting_acts_after_its_own_line():
    # NISTIR 6556, 3.3.2.1, from memory: "#3=6 G1 x#3" after "#3=15" goes to 15.
    assert xs("#3=15\n#3=6 G1 X#3\nX#3") == [15, 6]
    assert xs("#1=1 #2=2\n#1=#2 #2=#1\nG1 X#1\nX#2") == [2, 1]


@pytest.mark.parametrize(
    ("text", "places"),
    [
        ("O100 sub\nG1 X[#1+#2]\nO100 endsub\nO100 call [1][2]\nO100 call [5][6]\nM2", [3, 11]),
        ("o<leg> sub\nG1 X#1\no<leg> endsub [#1*2]\no<leg> call [4]\nX#<_value>", [4, 8]),
        ("O1 sub\nO2 if [#1 gt 1]\nO1 return\nO2 endif\nG1 X#1\nO1 endsub\nO1 call [2]\n"
         "O1 call [1]", [1]),
        ("G0 X1\nM98 P100 L3\nG90 X50\nM30\nO100\nG91 G1 X1\nM99", [1, 2, 3, 4, 50]),
        ("G0 X1\nM98 P20100\nM30\nO0100\nG91 X1\nM99\n", [1, 2, 3]),
        ("G0 X1\nM97 P500\nM30\nN500 G1 X7\nM99", [1, 7]),
        ("#1=0\nWHILE [#1 LT 3] DO1\n#1=[#1+1]\nG1 X#1\nEND1", [1, 2, 3]),
        ("#1=0\nN10 #1=[#1+1]\nG1 X#1\nIF [#1 LT 3] GOTO 10\nX9", [1, 2, 3, 9]),
        ("G0 X1\nGOTO 30\nX2\nN30 X3", [1, 3]),
        ("IF [1 GT 0] THEN #5=3\nG1 X#5", [3]),
        ("o1 while [0]\nG1 X1\no1 endwhile\nG1 X2", [2]),
        ("#1=1\no1 do\nG1 X#1\n#1=[#1+1]\no1 while [#1 le 3]", [1, 2, 3]),
        ("G91\no1 repeat [3]\nG1 X1\no1 endrepeat", [1, 2, 3]),
        ("G91\no1 repeat [2]\nG1 X1\no2 repeat [2]\nX10\no2 endrepeat\no1 endrepeat",
         [1, 11, 21, 22, 32, 42]),
        ("#1=5\no1 while [#1 gt 0]\n#1=[#1-1]\no2 if [#1 eq 3]\no1 continue\no2 endif\no2 if "
         "[#1 eq 1]\no1 break\no2 endif\nG1 X#1\no1 endwhile\nX9", [4, 2, 9]),
    ],
)  # fmt: skip
def test_subprograms_loops_and_jumps(text, places):
    assert xs(text) == places


@pytest.mark.parametrize(("value", "place"), [(1, 1), (2, 2), (3, 3), (7, 9)])
def test_one_branch_of_several_is_run(value, place):
    text = (
        f"#1={value}\no1 if [#1 eq 1]\nG1 X1\no1 elseif [#1 eq 2]\nG1 X2\no1 elseif [#1 eq 3]\n"
        "G1 X3\no1 else\nG1 X9\no1 endif\nY5"
    )
    assert ends(text) == [(place, 0), (place, 5)]


def test_names_are_a_calls_own_unless_they_begin_with_a_line():
    text = (
        "#<a>=1 #<_b>=1\no1 sub\n#<a>=5 #<_b>=6\no1 endsub\no1 call\nG1 X#<a> Y#<_b>\n"
        "#1=8\no2 sub\n#1=3\no2 endsub\no2 call [2]\nX#1"
    )
    assert ends(text) == [(1, 6), (8, 6)]


def test_modes_survive_a_return_and_moves_keep_their_lines():
    program = read_program(b"G0 X1\nM98 P7\nX1\nM98 P7\nM30\nO7\nG91 X2\nM99\n")
    assert program.moves.x.tolist() == [1, 3, 4, 6]
    assert program.moves.line.tolist() == [1, 7, 3, 7]


@pytest.mark.parametrize(
    ("text", "line", "said"),
    [
        ("o1 while [1]\no1 endwhile", 1, "2,000 blocks were run"),
        ("N1 G0 X1\nGOTO 1", 1, "2,000 blocks were run"),
        ("o1 sub\no1 call\no1 endsub\no1 call", 2, "more than 16 deep"),
        ("G0 X1\nM98 P5", 2, "calls O5, which is not in this program"),
        ("M98", 1, "M98 without the number"),
        ("G0 X1\nM98 P5\nM30\nO5\nX2", 2, "M99 is missing"),
        ("o<x> call", 1, "x is called, and its SUB is not in this program"),
        ("GOTO 7", 1, "N7, which is not in this program"),
        ("G0 X1\no1 while [1]\nX2", 2, "WHILE has no end"),
        ("#1=2\no1 if [#1 eq 1]\nG1 X1", 2, "IF has no ENDIF"),
        ("#1=1\no1 endif", 2, "ENDIF of 1 without its IF"),
        ("o1 if [1]\no1 endif\no1 else", 3, "ELSE without its IF"),
        ("o1 break [1]", 1, "BREAK outside of its loop"),
        ("G0 X1\no1 endsub\n#1=1", 2, "ENDSUB of 1 without its SUB"),
        ("G0 X1\no1 return\n#1=1", 2, "outside of any call"),
        ("o1 if\no1 endif\n#1=1", 1, "IF needs one value"),
        ("G0 X#7", 1, "#7 has no value before this line"),
        ("#1=[1/0]", 1, "divided by zero"),
        ("#1=1\nG0 X[#1+[2]", 2, "] is missing"),
        ("#1=1\nG0 X1 (open", 2, "not closed"),
    ],
)
def test_what_does_not_end_or_has_no_value_is_refused_with_its_line(monkeypatch, text, line, said):
    monkeypatch.setattr(computing, "MOST_BLOCKS", 2000)
    with pytest.raises(ProgramError, match=re.escape(said)) as caught:
        ends(text)
    assert caught.value.line in (line, line + 1)


def test_a_long_program_that_computes_a_little_is_no_endless_one(monkeypatch):
    monkeypatch.setattr(computing, "MOST_BLOCKS", 5)
    assert len(xs("#1=2\n" + "G1 X#1\n" * 50)) == 50


def test_without_the_setting_what_computes_is_refused_and_named():
    with pytest.raises(ProgramError, match="the table's settings say so") as caught:
        ends("G0 X1\nG0 X[1+2]", variables=False)
    assert caught.value.line == 2
    assert xs("G0 X1\nM98 P7\nM30\nO7\nX2\nM99", variables=False) == [1, 2]


def test_comments_and_skipped_lines_compute_nothing():
    text = b"G0 X1 (#1 [2] M98)\n; o1 while [1]\nX2\n"
    assert read_program(text).moves.x.tolist() == [1, 2]
    assert xs("#1=2\no1 if [0]\nG0 (open\nX[1/0]\no1 endif\nG1 X#1") == [2]


@pytest.mark.parametrize("shape", ["ring", "grid"])
def test_a_program_that_computes_cuts_what_it_cuts_written_out(shape):
    if shape == "ring":
        text = (
            "G0 X50\nM3\n#<n>=0\no1 while [#<n> lt 90]\n#<n>=[#<n>+1]\n"
            "G1 X[50*cos[#<n>*4]] Y[50*sin[#<n>*4]]\no1 endwhile\nM5\nM2"
        )
        found = read_program(text.encode())
        assert found.moves.length_mm.sum() == pytest.approx(50 + 90 * 100 * math.sin(math.pi / 90))
    else:
        text = (
            "o<part> sub\nG0 X#1 Y#2\nM3\nG91\nG1 X10\nY10\nX-10\nY-10\nG90\nM5\no<part> endsub\n"
            "#<r>=0\no1 while [#<r> lt 3]\n#<c>=0\no2 while [#<c> lt 4]\n"
            "o<part> call [#<c>*15][#<r>*15]\n#<c>=[#<c>+1]\no2 endwhile\n#<r>=[#<r>+1]\n"
            "o1 endwhile\nM2"
        )
        found = read_program(text.encode())
        assert [c.area_mm2 for c in found.contours] == pytest.approx([100] * 12)
        assert found.contours[5].start == (15, 15)


@settings(max_examples=60)
@given(st.lists(st.sampled_from([
    "#1=1", "#1=[#1+1]", "G1 X#1", "X2", "M98 P7", "O7", "M99", "o1 while [#1 lt 3]", "o1 endwhile",
    "o2 sub", "o2 endsub", "o2 call [4]", "o3 if [#1 eq 2]", "o3 else", "o3 endif", "M2", "GOTO 5",
    "N5 G0 Y1", "IF [#1 LT 3] GOTO 5", "o4 do", "o4 while [#1 lt 2]", "o1 break", "END1", "%",
]), max_size=25))  # fmt: skip
def test_any_heap_of_flow_is_read_or_refused_by_line(lines):
    refused = None
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(computing, "MOST_BLOCKS", 500)
        try:
            read_program("\n".join(lines).encode())
        except ProgramError as error:
            refused = error
    assert refused is None or 1 <= refused.line <= len(lines) + 1


@pytest.mark.parametrize(
    "line", ["M98 P" + "9" * 400, "M98 P2 L" + "9" * 400, "#1=" + "9" * 400, "M98 P2000000000"]
)
def test_a_number_too_large_is_refused_by_its_line(line):
    with pytest.raises(ProgramError) as refused:
        read_program(f"G0 X1\n{line}\nM30\nO2\nM99\n".encode())
    assert refused.value.line == 2


def test_a_line_number_of_thousands_of_digits_is_no_error():
    raw = "G0 X1\nN" + "8" * 5_000 + " G0 X3\n#1=2\nG0 X[#1]\nM30\n"
    assert xs(raw) == [1, 3, 2]
