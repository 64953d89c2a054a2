from __future__ import annotations

import pytest

from planning.calc.program import read_program

PLAIN = "G21 G90\nG0 X10 Y20\nM3\nG1 X30 F1000\nG3 X50 Y20 I10 J0\nM5\nM30"


def path_hash(text: str) -> str:
    return read_program(text.encode()).path_hash


@pytest.mark.parametrize(
    "same",
    [
        "(revision B)\nN1 G21 G90\nN2 G0 X10 Y20\nM03\nG1 X30. F900\nX30\nG3 X50 Y20 I10 J0\nM5",
        "G21 G90\nG0 X10 Y20\nM3\nG4 P1\nG1 X30\nG3 X50 Y20 R10\nM5",
        "G21 G91\nG0 X10 Y20\nM3\nG1 X20\nG3 X20 I10\nM5",
    ],
)
def test_what_leaves_the_path_alone_leaves_the_hash_alone(same):
    assert path_hash(same) == path_hash(PLAIN)


@pytest.mark.parametrize(
    "other",
    [
        PLAIN.replace("X30", "X30.001"),
        PLAIN.replace("G3", "G2"),
        PLAIN.replace("M3\nG1", "G1"),
        PLAIN.replace("G3 X50", "M5\nM3\nG3 X50"),
    ],
)
def test_another_path_has_another_hash(other):
    assert path_hash(other) != path_hash(PLAIN)
