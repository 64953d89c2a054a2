"""A drawing planned like a program: by the same planner, from the same moves."""

from __future__ import annotations

import math

import pytest

from planning.calc.drawing import read_drawing
from planning.calc.drawing.as_program import as_program, cut_order, usual_lead_mm
from planning.calc.motion import TableMotion
from planning.calc.plan import Cutting, plan_program
from planning.calc.program import read_program
from tests.planning.calc.drawing.made import dxf, square

MOTION = TableMotion(accel_mm_s2=1000, rapid_mm_min=12_000)
CUTTING = Cutting(3000, 0.5, 1.0)


def plate(space) -> None:
    square(space)
    space.add_circle((50, 50), 10)


def test_it_takes_what_the_same_program_takes():
    # The same moves written by hand: 3 mm lead-ins, the hole (from its start at X60) first.
    text = """G21 G90
G0 X60 Y47
M3
G1 Y50
G3 X60 Y50 I-10 J0
M5
G0 X0 Y-3
M3
G1 Y0
G1 Y100
X100
Y0
X0
M5
"""
    by_hand = plan_program(read_program(text.encode()), MOTION, CUTTING)
    ours = plan_program(as_program(read_drawing(dxf(plate)), 3.0), MOTION, CUTTING)
    assert ours.cut_mm == pytest.approx(400 + 20 * math.pi + 6)
    for name in ("cut_mm", "travel_mm", "pierces", "cut_s", "pierce_s", "travel_s", "total_s"):
        assert getattr(ours, name) == pytest.approx(getattr(by_hand, name), rel=1e-3), name
    assert "estimated: no program yet" in ours.notes[0].text


def test_holes_come_before_what_is_around_them_and_the_nearest_first():
    def draw(space):
        for x in (0, 300, 150):
            square(space, x)
            space.add_circle((x + 50, 50), 10)

    drawing = read_drawing(dxf(draw))
    order = cut_order(drawing.contours, (0.0, 0.0))
    assert [each.kind for each in order].count("hole") == 3
    for hole in (each for each in order if each.kind == "hole"):
        outer = next(each for each in order if each.number == hole.inside)
        assert order.index(hole) < order.index(outer)
    assert [each.extents_mm[0] for each in order if each.kind == "outer"] == [0, 150, 300]


def test_a_spline_keeps_its_length_in_chords():
    def draw(space):
        space.add_open_spline([(0, 0), (30, 60), (60, -60), (90, 10)], degree=3)

    drawing = read_drawing(dxf(draw))
    plan = plan_program(as_program(drawing, 0.0), MOTION, CUTTING)
    assert plan.cut_mm == pytest.approx(drawing.cut_mm, rel=1e-12)
    assert plan.cut_s >= drawing.cut_mm / 50


def test_the_usual_lead_is_the_thickness_but_never_short():
    assert (usual_lead_mm(1.0), usual_lead_mm(12.0)) == (3.0, 12.0)
