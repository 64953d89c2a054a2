"""Torch-on intervals that mark: a speed and a time, but no part, no area and no pierce."""

from __future__ import annotations

import pytest

from planning.calc.motion import TableMotion
from planning.calc.plan import Cutting, plan_program
from planning.calc.program import Dialect, read_program

MARKS = Dialect(torch_mark=("M7",))
# A line of 30 mm and a closed box of 80 mm marked on a square of 100, then the square cut.
TEXT = (
    b"G0 X20 Y20\nM7\nG1 X50 F6000\nM5\nG0 X20 Y40\nM7\nG1 X40\nY60\nX20\nY40\nM5\n"
    b"G0 X0 Y0\nM3\nG1 X100\nY100\nX0\nY0\nM5\n"
)


def test_marks_are_of_the_part_they_lie_on_and_cut_nothing_out():
    line, box, part = read_program(TEXT, MARKS).contours
    assert [c.marks for c in (line, box, part)] == [True, True, False]
    assert [c.outer for c in (line, box, part)] == [3, 3, 3]
    assert [c.pierces for c in (line, box, part)] == [0, 0, 1]
    assert (line.area_mm2, box.area_mm2) == (None, None)
    assert part.net_area_mm2 == pytest.approx(10_000)


def test_a_mark_beside_all_parts_is_of_the_next():
    text = b"G0 X300 Y300\nM7\nG1 X310\nM5\n" + TEXT[TEXT.index(b"G0 X0") :]
    mark, part = read_program(text, MARKS).contours
    assert (mark.outer, part.outer) == (2, 2)


def test_without_the_setting_the_code_is_passed_over():
    assert len(read_program(TEXT).contours) == 1


def test_marking_goes_at_its_own_speed_without_a_pierce():
    program = read_program(TEXT, MARKS)
    motion = TableMotion(1e6, 60_000.0, "stop")
    cutting = Cutting(2000, 0.5, 1.0, mark_speed_mm_min=5000)
    plan = plan_program(program, motion, cutting)
    # By hand, acceleration hardly counting: 110 mm at 5,000 and 400 mm at 2,000 mm/min, one pierce.
    assert plan.cut_s == pytest.approx(110 * 60 / 5000 + 400 * 60 / 2000, rel=1e-3)
    assert (plan.pierces, plan.pierce_s) == (1, 0.5)
    assert len(plan.arcs) == 3
    assert any("marking: contours 2" in note.text for note in plan.notes)
    own = plan_program(program, motion, Cutting(2000, 0.5, 1.0))
    assert own.cut_s == pytest.approx(110 * 60 / 6000 + 400 * 60 / 2000, rel=1e-3)


def test_one_code_cannot_cut_and_mark():
    with pytest.raises(ValueError, match="to cut and to mark"):
        Dialect(torch_mark=("M03",))
