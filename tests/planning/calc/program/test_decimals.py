"""How finely a program is written, and its numbers read many at once."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from planning.calc.program import read_program
from planning.calc.program.decimals import EXACT, decimals_of
from planning.calc.program.numerals import numbers_of


@pytest.mark.parametrize(
    ("text", "decimals"),
    [
        (b"", 0),
        (b"G0X1Y2\n", 0),
        (b"X1.5Y.25\nX3", 2),
        (b"X1.50\n" * 99 + b"X1.123456\n", 2),  # one in a hundred says nothing
        (b"X1.50\n" * 9 + b"X1.123456\n", 6),
        (b"F0.123456\nN5.123X1.2", 1),
        (b"X[1+#2]Y#3", EXACT),
    ],
)
def test_decimals_are_those_that_one_place_in_twenty_reaches(text, decimals):
    assert decimals_of(text) == decimals


def test_a_long_program_is_looked_at_in_pieces():
    fine, coarse = b"X1.125Y2.125\n" * 20_000, b"X1.5Y2.5\n" * 20_000
    assert decimals_of(coarse + fine + coarse) == 3


@pytest.mark.parametrize(
    ("text", "step"),
    [
        (b"G21\nG1X1.25Y2.5", 0.01),
        (b"G20\nG1X1.125Y2.5", 0.0254),
        # Most moves are in inches; the units that it is left in say nothing.
        (b"G20\nG1X1.125\nX2.125\nX3.125\nG21\nX90.125", 0.0254),
        (b"G1X1.25", 0.01),
    ],
)
def test_the_step_is_in_the_unit_that_most_moves_are_in(text, step):
    assert read_program(text).moves.step_mm == pytest.approx(step)


numerals = st.one_of(
    st.decimals(-1_000_000, 1_000_000, places=4).map(lambda value: f"{value:f}"),
    st.from_regex(r"[+-]?([0-9]{1,17}\.?[0-9]{0,17}|\.[0-9]{1,17})", fullmatch=True),
)


@given(st.lists(numerals, min_size=1, max_size=30))
def test_numbers_read_many_at_once_are_those_read_one_by_one(words):
    text, start, dot, stop, minus = "", [], [], [], []
    for word in words:
        text += "X"
        start.append(len(text) + (word[0] in "+-"))
        text += word
        stop.append(len(text))
        dot.append(len(text) - len(word) + word.index(".") if "." in word else len(text))
        minus.append(word[0] == "-")
    arrays = [np.array(each) for each in (start, dot, stop, minus)]
    found = numbers_of(text.encode(), *arrays)
    assert found.tobytes() == np.array([float(word) for word in words]).tobytes()
