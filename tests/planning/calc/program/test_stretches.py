"""Both readings of a program must be one: as arrays where it is plain, and line by line."""

from __future__ import annotations

import random
from dataclasses import fields

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from planning.calc.program import Dialect, ProgramError, read_program
from planning.calc.program import reader as reading
from planning.calc.program.reader import read_plainly
from planning.calc.program.stretches import Stretches
from planning.calc.program.words import bare_bytes


def answer(read, text: bytes, dialect: Dialect):
    """All that a reading says, errors included; arrays as their bytes, so NaN equals NaN."""
    try:
        program = read(text, dialect)
    except ProgramError as error:
        return str(error)
    moves = program.moves
    arrays = {entry.name: np.asarray(getattr(moves, entry.name)) for entry in fields(moves)}
    return (
        {name: (values.dtype.str, (values + 0).tobytes()) for name, values in arrays.items()},
        program.dwells, program.arc_lines, program.arc_starts, program.notes, program.blocks,
        program.last_line, program.left_burning,
    )  # fmt: skip


def both(text: bytes, dialect: Dialect) -> None:
    assert answer(read_program, text, dialect) == answer(read_plainly, text, dialect)


@pytest.fixture(autouse=True)
def short_stretches_too(monkeypatch):
    monkeypatch.setattr(reading, "LEAST_STRETCH", 1)


USUAL = [
    "G1X{x}Y{y}", "X{x}Y{y}", "G0X{x}Y{y}", "Y{y}", "N{n}G1X{x}", "g01 x {x}", "G1X{x}Y{y}F{f}",
    "X{x}F{f}", "",
]  # fmt: skip
ODD = [
    "M3", "M5", "(a G1 X1)", "; F0", "G91", "G90", "G20", "G21", "G61", "G64P0.2", "G93", "G94",
    "G4P0.5", "%", "M2", "M0", "F{f}", "G2X{x}Y{y}I{y}", "G3X{x}Y{y}R{r}", "G1X{x}(why)", "Z{x}",
    "G28", "/X{x}", ":7X{x}", "N{n}", "G1", "G80", "G92X0", "#1=2", "O100", "G2", "G1X{x}Z1",
    "F-1X1", "F0X{x}", "X1X2", "G1G0X1", "XY1", "X1..2", "X1.2.3", "X.", "X+", "X--1", "1X", "X-",
    "X99999999", "X9999999999", "N9999999999X1", "G1.0X{x}", "G01.X{x}", "G53X{x}", "M3X{x}",
    "X#1", "G1X-#1Y#2", "#1=#2", "'G1X1", "!", "G10X1", "E5X1", "X1e-05", "\x80X1", "M98",
    "F1e9X1", "F0.0000001X1", "G54", "G55X{x}", "U1",
]  # fmt: skip


@st.composite
def programs(draw) -> bytes:
    """Stretches of plain blocks broken by whatever else a program may hold."""
    rng = random.Random(draw(st.integers(0, 2**32)))
    odd = draw(st.sampled_from([0.0, 0.02, 0.1, 0.4]))
    harmless = ODD[: draw(st.sampled_from([4, 13, 25, len(ODD)]))]
    lines = []
    for _ in range(draw(st.integers(1, 60))):
        line = rng.choice(harmless if rng.random() < odd else USUAL)
        number = f"{rng.uniform(-90, 90):.{rng.choice([0, 1, 3, 6])}f}"
        other = f"{rng.choice(['', '+'])}{rng.randrange(50)}."
        lines.append(
            line.format(x=number, y=other, n=rng.randrange(999), f=rng.randrange(9) * 250, r=80)
        )
    ending = draw(st.sampled_from(["\n", "\r\n", "\r"]))
    first = draw(st.sampled_from(["", "G0\n", "G1 F100\n", "%\n"]))
    return (first + ending.join(lines)).encode("latin-1")


@settings(max_examples=600)
@given(programs(), st.booleans(), st.booleans(), st.sampled_from([";", "", ";'", ";'!"]))
def test_every_program_reads_the_same_both_ways(text: bytes, inch: bool, variables: bool, marks):
    both(text, Dialect(inch=inch, variables=variables, comment_marks=marks))


@given(st.text("GXYFN0123456789.+-\n(%;M#='", max_size=60), st.booleans())
def test_every_heap_of_characters_reads_the_same_both_ways(text: str, variables: bool):
    both(text.encode(), Dialect(variables=variables, comment_marks="'" if variables else ";"))


@pytest.mark.parametrize("line", ODD)
@pytest.mark.parametrize("after", ["G1X1Y1", "G2X1Y1I.5J.5", "G93", "G91", ""])
def test_each_odd_block_among_plain_ones_reads_the_same_both_ways(line: str, after: str):
    odd = line.format(x=3, y=4, n=5, f=600, r=50)
    both(f"{after}\nX1Y2\nX3\nY5\n{odd}\nX1\nY9F300\n\nX3.5\n".encode("latin-1"), Dialect())


def test_a_long_straight_program_is_read_as_arrays():
    text = bare_bytes(b"G21\nM3\n" + b"G1 X1 Y2 F300\n" * 50 + b"M5\n")
    stretches = Stretches.of(text)
    assert stretches is not None
    # G21, M3 and M5 stand on lines 1, 2 and 53: indices 0, 1 and 52.
    assert stretches.odd == [0, 1, 52]
    assert np.array_equal(stretches.path(2, 52).f, np.full(50, 300.0))


def test_a_program_of_little_but_arcs_is_left_to_the_plain_reader():
    assert Stretches.of(bare_bytes(b"G2 X1 Y1 R5\n" * 9 + b"G1 X0\n")) is None
