"""Parts found by shape. Turns, shifts and mirrors are made here by complex factors, which know
nothing of the code's spectra."""

from __future__ import annotations

import cmath
import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from planning.calc.program.shapes import compare, shape_of

L_PLATE = [(0, 0), (120, 0), (120, 30), (40, 30), (40, 90), (0, 90)]  # its own mirror: no
SQUARE = [(0, 0), (100, 0), (100, 100), (0, 100)]


def circle(x: float, y: float, r: float, n: int = 60):
    return [(x + r * math.cos(k * math.tau / n), y + r * math.sin(k * math.tau / n))
            for k in range(n + 1)]  # fmt: skip


def moved(points, turn=0.0, dx=0.0, dy=0.0, mirror=False):
    z = np.array([complex(*p) for p in points])
    z = (z.conj() if mirror else z) * cmath.rect(1, turn) + complex(dx, dy)
    return list(zip(z.real.tolist(), z.imag.tolist(), strict=True))


def closed(points, start=0, back=False):
    turned = [*points[start:], *points[:start]]
    turned = turned[::-1] if back else turned
    return [*turned, turned[0]]


@given(st.floats(-7, 7), st.floats(-900, 900), st.integers(0, 5), st.booleans(), st.booleans())
def test_a_part_turned_moved_and_begun_elsewhere_is_the_same(turn, dx, start, back, mirror):
    other = shape_of(moved(closed(L_PLATE, start, back), turn, dx, -dx, mirror))
    assert compare(shape_of(closed(L_PLATE)), other) == ("mirrored" if mirror else "same")


@given(st.floats(-7, 7), st.booleans())
def test_holes_come_to_lie_on_holes(turn, mirror):
    holes = [circle(20, 25, 5), circle(80, 25, 5), circle(30, 70, 9)]

    def made(turn=0.0, mirror=False, holes=holes):
        paths = [(moved(hole, turn, 4, 5, mirror), 2 * math.pi * 5) for hole in holes[:2]]
        paths.append((moved(holes[2], turn, 4, 5, mirror), 2 * math.pi * 9))
        return shape_of(moved(closed(SQUARE), turn, 4, 5, mirror), paths)

    assert compare(made(), made(turn, mirror)) == ("mirrored" if mirror else "same")
    shifted = [holes[0], circle(80, 26.5, 5), holes[2]]
    assert compare(made(), made(turn, mirror, shifted)) is None


def test_a_shape_that_is_its_own_mirror_image_is_the_same():
    assert compare(shape_of(closed(SQUARE)), shape_of(moved(closed(SQUARE), 1, mirror=True)))\
        == "same"  # fmt: skip


def test_a_disc_with_a_ring_of_holes_is_found_by_its_holes():
    def flange(turn, mirror=False, angles=(0, 1, 2.5)):
        holes = [circle(30 * math.cos(a), 30 * math.sin(a), 4) for a in angles]
        paths = [(moved(hole, turn, 7, 7, mirror), 25.13) for hole in holes]
        return shape_of(moved(circle(0, 0, 50, 200), turn, 7, 7, mirror), paths)

    assert compare(flange(0), flange(2.2)) == "same"
    assert compare(flange(0), flange(1.1, mirror=True)) == "mirrored"
    assert compare(flange(0), flange(0.4, angles=(0, 1, 2.3))) is None


def test_equal_length_and_area_do_not_make_a_shape():
    """A notch near the end of an edge and one in its middle: length and area agree."""
    near = [(0, 0), (100, 0), (100, 60), (20, 60), (20, 50), (10, 50), (10, 60), (0, 60)]
    mid = [(0, 0), (100, 0), (100, 60), (55, 60), (55, 50), (45, 50), (45, 60), (0, 60)]
    assert compare(shape_of(closed(near)), shape_of(closed(mid))) is None


def test_other_chords_of_the_same_arcs_are_the_same():
    assert compare(shape_of(circle(0, 0, 40, 90)), shape_of(circle(9, 9, 40, 150))) == "same"


@pytest.mark.parametrize("points", [[], [(0, 0)], [(1, 1), (1, 1), (1, 1), (1, 1)]])
def test_hardly_an_outline_has_no_shape(points):
    assert shape_of(points) is None
