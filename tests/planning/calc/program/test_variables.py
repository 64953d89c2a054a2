"""Variables and comment forms, which ISO 6983 leaves to the control; rules of NISTIR 6556 3.3.2.1
where it has them (set by #n=, in force after the line)."""

from __future__ import annotations

import pytest

from planning.calc.program import Dialect, ProgramError, read_program


def ends(text: str, **dialect):
    moves = read_program(text.encode(), Dialect(**dialect)).moves
    return list(zip(moves.x.tolist(), moves.y.tolist(), strict=True))


def test_a_variable_stands_for_its_number():
    text = "#1=12.5 #2=-4\nG0 X#1 Y#2\nX-#2 Y+#1\n#3=-#1\nX#3 Y0"
    assert ends(text, variables=True) == [(12.5, -4.0), (4.0, 12.5), (-12.5, 0.0)]


def test_a_setting_takes_effect_after_its_own_line():
    assert ends("#1=3\n#1=8 G0 X#1\nX#1", variables=True) == [(3.0, 0.0), (8.0, 0.0)]


def test_small_values_are_not_read_as_an_e_word():
    assert ends("#1=.00001\nG0 X#1", variables=True) == [(1e-5, 0.0)]


def test_a_line_that_only_sets_is_no_block():
    program = read_program(b"#1=3\nG0 X#1\n", Dialect(variables=True))
    assert program.blocks == 1


@pytest.mark.parametrize(
    ("text", "line", "said"),
    [
        ("G0 X#7", 1, "#7 has no value before this line"),
        ("#1=2\nG0 X#1\n#2=#9", 3, "#9 has no value"),
        ("#1=M3", 1, "no number, variable"),
        ("G0 X[#1]", 1, "has no value"),
    ],
)
def test_what_would_be_guessed_is_refused_with_its_line(text, line, said):
    with pytest.raises(ProgramError, match=said.replace("[", r"\[")) as caught:
        ends(text, variables=True)
    assert caught.value.line == line


def test_where_the_setting_says_so_variables_are_refused():
    with pytest.raises(ProgramError, match="variables") as caught:
        ends("G0 X1\n#1=3", variables=False)
    assert caught.value.line == 2


@pytest.mark.parametrize(("marks", "text"), [("'", "G0 X1 'Y5 (b"), (";!", "G0 X1 !Y5\n; X9")])
def test_comment_marks_are_a_setting(marks, text):
    assert ends(text, comment_marks=marks) == [(1.0, 0.0)]


def test_a_mark_that_is_none_here_is_refused_with_its_line():
    with pytest.raises(ProgramError, match="not a word") as caught:
        ends("G0 X1\nX2 ; on", comment_marks="'")
    assert caught.value.line == 2


def test_other_marks_are_refused():
    with pytest.raises(ValueError, match="comment begins"):
        Dialect(comment_marks="X")
