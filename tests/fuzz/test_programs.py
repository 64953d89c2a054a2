"""Programs made of odd pieces: each is read or refused by line, within bounds of time and memory,
and what is read plans to finite figures."""

from __future__ import annotations

import math
import os
import random
import time

import pytest

from planning.calc.motion import TableMotion
from planning.calc.plan import Cutting, plan_program
from planning.calc.program import Dialect, ProgramError, read_program

pytestmark = pytest.mark.long
SEED = int(os.environ.get("KERFBOOK_FUZZ_SEED", "20261130"))
PROGRAMS = 3_000 * int(os.environ.get("KERFBOOK_FUZZ_TIMES", "1"))
MOST_S = 5.0  # of one program
MOTION, CUTTING = TableMotion(500.0, 15_000.0), Cutting(2000.0, 0.5, 1.0)
NUMBERS = (
    "0", "-0", "1", "12.5", "-7.125", ".5", "5.", "1e3", "1E-05", "999999999", "--1", "1.2.3",
    "nan", "inf", "#1", "#<a>", "[1+2]", "[1/0]",
    *("-[3*[2-#2]]", "[sqrt[-1]]", "atan[1]/[0]", "\u0661", "", "9" * 400, "8" * 5_000),
)  # fmt: skip
WORDS = (
    "G0", "G1", "G2", "G3", "G4", "G10", "G17", "G18", "G20", "G21", "G40", "G53", "G54", "G61",
    "G64", "G90", "G91", "G90.1", "G91.1", "G92", "G92.1",
    "G92.3", "M0", "M2", "M3", "M5", "M7", "M30", "M98", "M99", "T1", "(note)", "(", ")", ";x",
    "%", "/", "*77", "#1=5", "#2=[#1+1]", "#<a>=[#1*2]",
    *("((in) note)", "O1 sub", "O1 endsub", "O1 call", "O2 if [#1 gt 3]", "O2 else", "O2 endif"),
    *("O3 while [1]", "O3 endwhile", "O4 repeat [9]", "O4 endrepeat", "\x00", "\ufeff", "\u00e9"),
)  # fmt: skip
LETTERS = "XYIJRFPLNSZQD"


def program(chance: random.Random) -> bytes:
    lines = []
    for _ in range(chance.randint(1, 30)):
        pieces = [
            chance.choice(WORDS)
            if chance.random() < 0.4
            else chance.choice(LETTERS) + chance.choice(NUMBERS)
            for _ in range(chance.randint(0, 5))
        ]
        lines.append(chance.choice(("", " ")).join(pieces))
    raw = chance.choice(("\n", "\r\n", "\r")).join(lines).encode()
    if chance.random() < 0.1:
        raw = raw[: chance.randint(0, len(raw))] + bytes([chance.randrange(256)])
    return raw


def dialect(chance: random.Random) -> Dialect:
    return Dialect(
        arc_centres_absolute=chance.random() < 0.3, inch=chance.random() < 0.3,
        comment_marks=chance.choice((";", ";'", "!")), variables=chance.random() < 0.8,
        torch_mark=chance.choice(((), ("M7",))),
    )  # fmt: skip


def sound(chance: random.Random) -> bytes:
    """Mostly sound, so that much of it is read: squares and arcs with a piece put in somewhere."""
    lines = ["G21 G90", "G0 X0 Y0", "M3", "G1 X50", "G2 X60 Y10 I0 J10", "G1 Y40", "X0", "Y0", "M5",
             "G0 X100 Y5", "M3", "G1 X130", "Y25", "X100", "Y5", "M5", "M30"]  # fmt: skip
    for _ in range(chance.randint(0, 3)):
        at = chance.randrange(len(lines))
        lines.insert(
            at, chance.choice(WORDS) + " " + chance.choice(LETTERS) + chance.choice(NUMBERS)
        )
    return "\n".join(lines).encode()


def test_every_program_is_read_or_refused_by_line():
    chance, read = random.Random(SEED), 0
    for number in range(PROGRAMS):
        raw = sound(chance) if number % 2 else program(chance)
        begun = time.process_time()
        try:
            found = read_program(raw, dialect(chance))
            plan = plan_program(found, MOTION, CUTTING)
            areas = [contour.area_mm2 for contour in found.contours if contour.area_mm2 is not None]
        except ProgramError as problem:
            refused_at = problem.line
        else:
            refused_at = 1
            read += 1
            figures = (plan.total_s, plan.cut_mm, plan.travel_mm, *plan.arcs, *areas)
            assert all(math.isfinite(value) and value >= 0 for value in figures), raw
        assert refused_at >= 1, raw
        assert time.process_time() - begun < MOST_S, raw
    assert PROGRAMS / 20 < read < PROGRAMS
