"""Leads told apart from the loop they lead to, by hand."""

from __future__ import annotations

import math

import numpy as np
import pytest

from planning.calc.program import read_program
from planning.calc.program.leads import loop_span


def contour(text: str):
    return read_program(text.encode()).contours[0]


def test_lead_in_and_lead_out_are_what_the_loop_leaves():
    # 5 mm up to the corner, 400 mm round, 3 mm beyond.
    found = contour("G0 X0 Y-5\nM3\nG1 Y0\nX100\nY100\nX0\nY0\nX3\nM5")
    assert (found.lead_in_mm, found.lead_out_mm) == (5.0, 3.0)
    assert found.length_mm == 408.0
    assert found.area_mm2 == pytest.approx(10_000)


def test_a_lead_by_an_arc_is_measured_along_it():
    # A quarter of r 4 onto a circle of r 10.
    found = contour("G0 X6 Y-4\nM3\nG3 X10 Y0 I0 J4\nG3 X10 Y0 I-10 J0\nM5")
    assert found.lead_in_mm == pytest.approx(2 * math.pi, abs=1e-12)
    assert found.lead_out_mm == 0.0
    assert found.length_mm == pytest.approx(22 * math.pi)
    assert found.area_mm2 == pytest.approx(100 * math.pi)


def test_an_open_path_has_no_leads():
    found = contour("M3\nG1 X100\nY100\nM5")
    assert (found.closed, found.lead_in_mm, found.lead_out_mm) == (False, 0.0, 0.0)


def test_the_drawn_loop_is_found_again_by_the_leads_lengths():
    found = contour("G0 X6 Y-4\nM3\nG3 X10 Y0 I0 J4\nG3 X10 Y0 I-10 J0\nG1 Y2\nM5")
    first, last = loop_span(np.round(found.points, 2), found.lead_in_mm, found.lead_out_mm)
    assert found.points[first] == pytest.approx([10, 0], abs=0.01)
    assert found.points[last] == pytest.approx([10, 0], abs=0.01)
    assert (first > 1, last) == (True, len(found.points) - 2)


def test_without_leads_all_points_are_the_loop():
    assert loop_span(np.zeros((5, 2)), 0.0, 0.0) == (0, 4)
    assert loop_span(np.zeros((0, 2)), 3.0, 0.0) == (0, 0)
