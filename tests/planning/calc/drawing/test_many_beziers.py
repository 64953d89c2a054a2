"""Pieces of a spline worked out together are what each would say by itself."""

from __future__ import annotations

import math
import time

import numpy as np
import pytest
from scipy.integrate import quad

from planning.calc.drawing import read_drawing
from planning.calc.drawing.curves import CHORD_MM, Bezier
from planning.calc.drawing.many_beziers import prepare
from planning.calc.drawing.splines import beziers
from tests.planning.calc.drawing.made import dxf


def spline(points, degree):
    count = len(points)
    inner = list(range(1, count - degree))
    knots = [0.0] * (degree + 1) + inner + [float(count - degree)] * (degree + 1)
    return beziers(points, knots, degree)


@pytest.mark.parametrize("degree", [2, 3])
@pytest.mark.parametrize("seed", range(6))
def test_together_they_say_what_each_says_alone(degree, seed):
    rng = np.random.default_rng(seed)
    pieces = spline(rng.uniform(-200, 200, (40, 2)) + 3000, degree)
    alone = [Bezier(piece.points.copy()) for piece in pieces]
    prepare(pieces, CHORD_MM)
    assert all("box" in piece.__dict__ for piece in pieces)
    for piece, by_itself in zip(pieces, alone, strict=True):
        assert (piece.start, piece.end) == (by_itself.start, by_itself.end)
        assert piece.length_mm == pytest.approx(by_itself.length_mm, rel=1e-11)
        assert piece.box == pytest.approx(by_itself.box, rel=1e-12)
        together, own = piece.chords(CHORD_MM), by_itself.chords(CHORD_MM)
        assert together.shape == own.shape
        assert together == pytest.approx(own, abs=1e-9)
        assert piece.chords(0.5).shape == by_itself.chords(0.5).shape


def test_lengths_are_those_of_an_integral_by_other_means():
    points = [(0, 0), (30, 80), (90, -40), (140, 60), (200, 0)]
    pieces = spline(points, 3)
    prepare(pieces, CHORD_MM)
    for piece in pieces:
        (a, b, c, d) = piece.points[:, :2]

        def speed(t, a=a, b=b, c=c, d=d):
            way = 3 * ((1 - t) ** 2 * (b - a) + 2 * t * (1 - t) * (c - b) + t * t * (d - c))
            return math.hypot(*way)

        assert piece.length_mm == pytest.approx(quad(speed, 0, 1, epsabs=1e-12)[0], rel=1e-10)


def test_a_cusp_is_left_to_the_curve_itself():
    # x = t2, y = t3 about the middle: a cusp inside, where two rules do not agree.
    cusp = Bezier(np.array([[1.0, -1, 1], [-1 / 3, 1, 1], [-1 / 3, -1, 1], [1, 1, 1]]))
    prepare([cusp], CHORD_MM)
    assert "length_mm" not in cusp.__dict__
    # By hand: from t = -1 to 1 of (t2, t3), twice ((4 + 9)^1.5 - 8) / 27.
    assert cusp.length_mm == pytest.approx(2 * (13**1.5 - 8) / 27, rel=1e-11)


def test_weighted_pieces_are_left_as_they_are():
    half = Bezier(np.array([[1.0, 0, 1], [1, 1, 1], [0, 2, 2]]))
    prepare([half], CHORD_MM)
    assert "length_mm" not in half.__dict__
    assert half.length_mm == pytest.approx(math.pi / 2, rel=1e-11)


@pytest.mark.long
def test_400_open_splines_through_200_points_are_read_within_seconds():
    """3 s of an idle processor; where others use its cores too, the same work counts for more."""
    rng = np.random.default_rng(4)

    def draw(space):
        for k in range(400):
            x, y = (k % 20) * 300, (k // 20) * 300
            wave = y + 40 * np.sin(np.arange(200) / 6 + k) + rng.uniform(-1, 1, 200)
            space.add_spline(list(zip(x + np.arange(200) * 1.3, wave, strict=True)))

    raw = dxf(draw)
    start = time.process_time()
    read = read_drawing(raw)
    assert time.process_time() - start < 8
    assert len(read.contours) == 400
