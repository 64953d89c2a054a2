"""Areas of paths that cross or touch themselves: by hand, and by shapely where touching lets it."""

from __future__ import annotations

import math
import random

import numpy as np
import pytest
import shapely

from planning.calc.program import read_program
from planning.calc.program.checks import crossing_notes


def only(text: str):
    program = read_program(text.encode())
    assert len(program.contours) == 1
    return program.contours[0]


def turned(points, degrees: float, decimals: int = 12) -> str:
    """A torch path through points, turned about zero."""
    c, s = math.cos(math.radians(degrees)), math.sin(math.radians(degrees))
    words = [f"X{c * x - s * y:.{decimals}f} Y{s * x + c * y:.{decimals}f}" for x, y in points]
    return "\n".join(["G0 " + words[0], "M3", "G1", *words[1:], "M5"])


# 100 x 60, run past each corner by 4 mm and back in by a loop: the corners stay sharp.
LOOPED = [
    (0, 30), (0, -4), (-4, -4), (-4, 0), (104, 0), (104, -4), (100, -4), (100, 64), (104, 64),
    (104, 60), (-4, 60), (-4, 64), (0, 64), (0, 30),
]  # fmt: skip


@pytest.mark.parametrize("degrees", [0, 17, 111])
def test_loops_at_corners_are_no_part_of_the_area(degrees):
    found = only(turned(LOOPED, degrees))
    assert found.closed
    assert found.area_mm2 == pytest.approx(6000, rel=1e-9)
    polygons = shapely.polygonize([shapely.node(shapely.linestrings(LOOPED))])
    assert max(polygon.area for polygon in polygons.geoms) == pytest.approx(6000)


@pytest.mark.parametrize("degrees", [0, 33])
def test_an_overcut_that_ends_on_no_vertex_closes_the_part(degrees):
    # In at the middle of an edge, round, and 7 mm on along that edge.
    path = [(30, 9), (30, 0), (100, 0), (100, 60), (0, 60), (0, 0), (37, 0)]
    found = only(turned(path, degrees))
    assert (found.closed, found.area_mm2) == (True, pytest.approx(6000, rel=1e-9))
    assert found.lead_in_mm == pytest.approx(9, abs=1e-6)
    assert found.lead_out_mm == pytest.approx(7, abs=1e-6)


def test_a_hole_whose_overcut_ends_on_no_vertex_keeps_its_area():
    # Lead-in from the centre, one turn and 20 degrees more in a single arc each.
    end = 20 * math.cos(math.radians(20)), 20 * math.sin(math.radians(20))
    text = (
        "M3\nG1 X20.000000\nG3 X-20.000000 Y0 I-20 J0\nG3 X20.000000 Y0 I20 J0\n"
        f"G3 X{end[0]:.9f} Y{end[1]:.9f} I-20 J0\nM5"
    )
    assert only(text).area_mm2 == pytest.approx(400 * math.pi)
    at = math.radians(340)
    x, y = 20 * math.cos(at), 20 * math.sin(at)
    two = (
        f"M3\nG1 X20.000000\nG3 X{x:.9f} Y{y:.9f} I-20 J0\n"
        f"G3 X{end[0]:.9f} Y{end[1]:.9f} I{-x:.9f} J{-y:.9f}\nM5"
    )
    assert only(two).area_mm2 == pytest.approx(400 * math.pi, rel=1e-4)


def test_a_lead_in_through_a_corner_is_no_part_of_it():
    path = [(-6, -8), (30, 40), (30, 60), (90, 60), (90, 0), (10, 0), (10, 30)]
    found = only(turned(path, 0))
    # The lead's line and the last side meet at (10, 13.33), on neither of whose vertices it closes.
    corner = (10, 40 / 3)
    ring = shapely.Polygon([corner, (30, 40), (30, 60), (90, 60), (90, 0), (10, 0)])
    assert found.area_mm2 == pytest.approx(ring.area, rel=1e-9)


@pytest.mark.parametrize("share", [1.0, 0.5])
def test_of_an_eight_the_area_is_unknown_rather_than_wrong(share):
    path = [(0, 0), (60, 60), (60, 0), (0, 60 * share), (0, 0)]
    found = only(turned(path, 0))
    assert found.closed
    assert (found.area_mm2, found.net_area_mm2) == (None, None)
    assert "crosses itself" in crossing_notes([found])[0].text


@pytest.mark.parametrize(("unit", "off", "side"), [("G20", "0.001", 4), ("G21", "0.02", 80)])
def test_a_path_closes_within_the_programs_own_decimals(unit, off, side):
    scale = 25.4 if unit == "G20" else 1.0
    far = f"{side:.3f}" if unit == "G20" else f"{side:.2f}"
    text = f"{unit}\nG0 X0.000 Y{off}\nM3\nG1 X{far}\nY{far}\nX0.000\nY0.000\nX{off} \nM5"
    found = only(text)
    assert found.closed
    assert found.area_mm2 == pytest.approx((side * scale) ** 2, rel=2e-3)


def test_a_path_that_only_passes_near_itself_stays_open():
    # A hook: 0.4 mm beside its own start, further than any rounding.
    found = only("M3\nG1 X100.00\nY60.00\nX0.40\nY10.00\nM5")
    assert (found.closed, found.area_mm2) == (False, None)


def test_a_scribble_is_given_up_soon_and_its_area_is_unknown():
    rng = random.Random(3)
    words = [f"X{rng.uniform(0, 90):.3f} Y{rng.uniform(0, 90):.3f}" for _ in range(1500)]
    found = only("\n".join(["G0 " + words[0], "M3", "G1", *words[1:], words[0], "M5"]))
    assert (found.closed, found.area_mm2) == (True, None)
    open_ = only("\n".join(["G0 " + words[0], "M3", "G1", *words[1:], "M5"]))
    assert (open_.closed, open_.area_mm2) == (False, None)


def test_a_long_ring_of_chords_is_looked_through_in_a_moment():
    turn = np.linspace(0, math.tau, 20_001)
    words = [f"X{200 * math.cos(t):.4f} Y{200 * math.sin(t):.4f}" for t in turn]
    found = only("\n".join(["G0 " + words[0], "M3", "G1", *words[1:], "M5"]))
    assert found.area_mm2 == pytest.approx(40_000 * math.pi, rel=1e-5)
