from __future__ import annotations

import itertools
import math
from pathlib import Path

import pytest

from planning.calc.program import read_program

PROGRAMS = Path(__file__).parents[4] / "fixtures" / "programs"


@pytest.fixture(scope="module")
def two_parts():
    return read_program((PROGRAMS / "two_parts.nc").read_bytes()).contours


def test_contours_come_in_cut_order_with_their_lengths(two_parts):
    # By hand. 1: lead-in 5 and a circle of radius 5. 2: lead-in 5 and a square of 30. 3: 30 x 30
    # with a half circle of radius 7.5 in its top edge (15 of it straight).
    assert [c.number for c in two_parts] == [1, 2, 3]
    assert [c.line for c in two_parts] == [5, 11, 20]
    assert [c.length_mm for c in two_parts] == pytest.approx(
        [5 + math.tau * 5, 125, 30 + 30 + math.pi * 7.5 + 15 + 30], rel=1e-12
    )
    assert two_parts[0].start == (20, 10)
    assert [c.travel_before_mm for c in two_parts] == pytest.approx(
        [math.hypot(20, 10), math.hypot(15, 15), 45], rel=1e-12
    )


def test_extents_follow_the_true_arcs(two_parts):
    assert two_parts[0].extents_mm == pytest.approx((15, 10, 25, 25))
    assert two_parts[2].extents_mm == pytest.approx((50, 5, 80, 42.5))


def test_areas_leave_the_lead_in_out_and_the_hole_is_taken_off(two_parts):
    circle, square, tabbed = two_parts
    assert all(c.closed for c in two_parts)
    assert circle.area_mm2 == pytest.approx(math.pi * 25, rel=1e-12)
    assert circle.clockwise is True
    assert circle.inside == 2
    assert circle.net_area_mm2 is None
    assert square.clockwise is False
    assert square.area_mm2 == pytest.approx(900)
    assert square.net_area_mm2 == pytest.approx(900 - math.pi * 25, rel=1e-12)
    # The half circle bulges out of the top edge: G3 from right to left.
    assert tabbed.area_mm2 == pytest.approx(900 + math.pi * 7.5**2 / 2, rel=1e-12)
    assert tabbed.net_area_mm2 == tabbed.area_mm2
    assert tabbed.inside is None


def test_points_for_drawing_stay_near_the_arc(two_parts):
    circle = two_parts[0].points[2:]
    radius = [math.hypot(x - 20, y - 20) for x, y in circle]
    assert radius == pytest.approx([5] * len(circle), rel=1e-12)
    chord = max(math.dist(a, b) for a, b in itertools.pairwise(circle))
    assert 5 - math.sqrt(25 - chord**2 / 4) <= 0.02 + 1e-9


def test_an_open_cut_encloses_nothing():
    line = read_program(b"G0 X1\nM3\nG1 X100\nM5").contours[0]
    assert (line.closed, line.area_mm2, line.net_area_mm2, line.clockwise) == (
        False, None, None, None,
    )  # fmt: skip


def test_an_arc_without_moves_is_a_contour_without_length():
    program = read_program(b"G0 X5 Y5\nM3\nM5\nG0 X10\nM3\nG1 X20\nM5")
    first, second = program.contours
    assert (first.length_mm, first.extents_mm) == (0, (5, 5, 5, 5))
    assert second.travel_before_mm == 5


def test_an_island_in_a_hole_is_an_outline_again():
    def square(x, size):
        return f"G0 X{x} Y{x}\nM3\nG1 X{x + size}\nY{x + size}\nX{x}\nY{x}\nM5\n"

    program = read_program((square(20, 10) + square(10, 40) + square(0, 100)).encode())
    island, hole, outline = program.contours
    assert island.inside == 2
    assert hole.inside == 3
    assert island.net_area_mm2 == pytest.approx(100)
    assert hole.net_area_mm2 is None
    assert outline.net_area_mm2 == pytest.approx(10000 - 1600)
