"""Lengths, areas and boxes of single curves against closed forms and against ezdxf."""

from __future__ import annotations

import math
from itertools import pairwise

import ezdxf.math
import numpy as np
import pytest
from ezdxf.math import BSpline, Vec2, bulge_to_arc
from hypothesis import given, settings
from hypothesis import strategies as st

from planning.calc.drawing.curves import Arc, Bezier, Line, bulge
from planning.calc.drawing.quadrature import integral
from planning.calc.drawing.splines import beziers


def ellipse(a: float, b: float, t0: float = 0.0, t1: float = math.tau) -> Arc:
    return Arc((0.0, 0.0), (a, 0.0), (0.0, b), t0, t1)


# Bulge is tan(angle / 4): a half circle over 10 has radius 5; 0.5 is an angle of 4 atan 0.5 over
# radius c (1 + b2) / 4b = 6.25. The same figures come from ezdxf.math.bulge_to_arc, below.
@pytest.mark.parametrize(
    ("value", "length"),
    [(1.0, 15.707963268), (0.5, 11.591190225), (-0.5, 11.591190225),
     (math.tan(math.pi / 8), 11.107207345)],
)  # fmt: skip
def test_a_bulge_is_an_exact_arc(value, length):
    arc = bulge((0.0, 0.0), (10.0, 0.0), value)
    assert arc.length_mm == pytest.approx(length, abs=1e-8)
    centre, start, end, radius = bulge_to_arc((0, 0), (10, 0), value)
    assert arc.centre == pytest.approx((centre.x, centre.y))
    assert math.hypot(*arc.u) == pytest.approx(radius)
    assert arc.length_mm == pytest.approx(radius * ((end - start) % math.tau), rel=1e-12)
    assert arc.end == pytest.approx((10.0, 0.0), abs=1e-12)


def test_a_positive_bulge_turns_counter_clockwise():
    assert bulge((0.0, 0.0), (10.0, 0.0), 1.0).at(0.5) == pytest.approx((5.0, -5.0))
    assert bulge((0.0, 0.0), (10.0, 0.0), -1.0).at(0.5) == pytest.approx((5.0, 5.0))


def test_an_ellipse_of_10_by_5_is_4_a_E_of_m():
    # 4 a E(m) with m = 1 - (b/a)2 = 0.75: E = 1.2110560276 (Abramowitz & Stegun, table 17.1)
    assert ellipse(10, 5).length_mm == pytest.approx(4 * 10 * 1.2110560276, abs=1e-7)
    assert ellipse(10, 5).length_mm == pytest.approx(48.442241, abs=1e-6)


def test_an_ellipse_agrees_with_the_arithmetic_geometric_mean():
    # Independent: Gauss's formula 2 pi / M(a, b) x (a2 - sum 2^(n-1) c_n2), DLMF 19.8.6
    for a, b in ((10.0, 5.0), (100.0, 1.0), (3.0, 2.999), (50.0, 0.01)):
        x, y, total, power = a, b, 0.0, 0.5
        total += power * (a * a - b * b)
        while abs(x - y) > 1e-15 * x:
            x, y, c = (x + y) / 2, math.sqrt(x * y), (x - y) / 2
            power *= 2
            total += power * c * c
        expected = math.tau / x * (a * a - total)
        assert ellipse(a, b).length_mm == pytest.approx(expected, rel=1e-9)


def test_conjugate_radii_of_a_sheared_circle_give_the_same_ellipse_as_its_axes():
    # x + y/2 of a unit circle; axes from the singular values of [[1, .5], [0, 1]] by NumPy
    a, b = np.linalg.svd(np.array([[1.0, 0.5], [0.0, 1.0]]), compute_uv=False)
    sheared = Arc((3.0, 4.0), (1.0, 0.0), (0.5, 1.0), 0.0, math.tau)
    assert sheared.length_mm == pytest.approx(ellipse(a, b).length_mm, rel=1e-12)
    assert sheared.swept_mm2((0.0, 0.0)) == pytest.approx(math.pi * a * b)


# A quadratic NURBS circle of nine points (Piegl & Tiller, The NURBS Book, 7.5): exact.
ROOT = math.sqrt(0.5)
CIRCLE = [(1, 0), (1, 1), (0, 1), (-1, 1), (-1, 0), (-1, -1), (0, -1), (1, -1), (1, 0)]
CIRCLE_WEIGHTS = [1, ROOT, 1, ROOT, 1, ROOT, 1, ROOT, 1]
CIRCLE_KNOTS = [0, 0, 0, 1, 1, 2, 2, 3, 3, 4, 4, 4]


def nurbs_circle(radius: float) -> list[Bezier]:
    points = [(x * radius, y * radius) for x, y in CIRCLE]
    return beziers(points, CIRCLE_KNOTS, 2, CIRCLE_WEIGHTS)


@pytest.mark.parametrize("radius", [0.5, 10.0, 1234.5])
def test_a_nurbs_circle_is_2_pi_r_long_and_encloses_pi_r2(radius):
    pieces = nurbs_circle(radius)
    assert len(pieces) == 4
    assert math.fsum(p.length_mm for p in pieces) == pytest.approx(math.tau * radius, rel=1e-11)
    area = math.fsum(p.swept_mm2((1.0, 2.0)) for p in pieces)
    assert area == pytest.approx(math.pi * radius**2, rel=1e-11)


def test_the_box_of_a_nurbs_circle_is_the_circles():
    assert nurbs_circle(10.0)[0].box == pytest.approx((0, 0, 10, 10), abs=1e-9)


def test_a_parabola_has_its_closed_length():
    # y = x2 from 0 to 1: sqrt(5)/2 + asinh(2)/4 = 1.478942857544597 (any calculus text)
    curve = Bezier(np.array([[0, 0, 1], [0.5, 0, 1], [1, 1, 1]], dtype=float))
    assert curve.length_mm == pytest.approx(math.sqrt(5) / 2 + math.asinh(2) / 4, rel=1e-12)
    assert curve.swept_mm2((0.0, 0.0)) == pytest.approx(1 / 6, rel=1e-12)  # 1/2 (1/1 - 2/3)


def test_a_small_curve_far_away_keeps_its_length_and_ends():
    # found with a drawing of another program's: rounding kept the parts from agreeing for ever
    near = [(0, 0), (0.3, 0.9), (0.8, -0.4), (1, 0.2)]
    lengths = []
    for off in (0.0, 4e6):
        points = np.array([(x + off, y + off, 1.0) for x, y in near])
        lengths.append(Bezier(points).length_mm)
    assert lengths[1] == pytest.approx(lengths[0], rel=1e-8)


def test_noise_does_not_keep_an_integral_from_ending():
    noise = np.random.default_rng(1)
    found = integral(lambda t: 1 + 1e-6 * noise.random(len(t)), 0.0, 1.0)
    assert found == pytest.approx(1.0, abs=1e-5)


def test_a_cusp_still_has_its_length():
    # (t2, t3) from -1 to 1, a semicubical parabola: 2 (13 sqrt 13 - 8) / 27 by hand
    curve = Bezier(np.array([[1, -1, 1], [-1 / 3, 1, 1], [-1 / 3, -1, 1], [1, 1, 1]], dtype=float))
    assert curve.length_mm == pytest.approx(2 * (13 * math.sqrt(13) - 8) / 27, rel=1e-9)


@pytest.mark.parametrize("clamped", [True, False])
def test_a_spline_follows_ezdxf_point_by_point(clamped):
    points = [(0, 0), (20, 45), (50, -20), (80, 60), (110, 10), (130, 30)]
    knots = None if clamped else list(range(10))
    tool = BSpline(points, order=4, knots=knots)
    ours = beziers(points, list(tool.knots()), 3)
    places = sorted(set(tool.knots()))[0 if clamped else 3 : None if clamped else -3]
    assert len(ours) == len(places) - 1
    for piece, low, high in zip(ours, places, places[1:], strict=False):
        for share in (0.0, 0.3, 0.5, 1.0):
            there = tool.point(low + (high - low) * share * 0.9999999)
            assert piece.at(share) == pytest.approx((there.x, there.y), abs=1e-4)


def test_a_splines_length_agrees_with_ezdxfs_own_flattening():
    # chords of 1e-6 mm: too short by less than 1e-6 relative
    points = [(0, 0), (20, 45), (50, -20), (80, 60), (110, 10), (130, 30)]
    tool = BSpline(points, order=4)
    flat = list(tool.flattening(1e-6))
    expected = math.fsum(a.distance(b) for a, b in pairwise(flat))
    ours = math.fsum(p.length_mm for p in beziers(points, list(tool.knots()), 3))
    assert expected <= ours <= expected * (1 + 1e-6)


@pytest.mark.parametrize(
    ("knots", "degree", "weights", "said"),
    [
        ([0, 0, 0, 1, 1], 2, None, "need 6 knots"),
        ([0, 0, 0, 1, 0, 1], 2, None, "do not rise"),
        ([0, 0, 0, 0, 0, 0], 2, None, "do not rise"),
        ([0, 0, 0, 1, 1, 1], 2, [1, 0, 1], "not one positive"),
        ([0, 0, 0, 1, 1, 1], 2, [1, math.nan, 1], "not one positive"),
        ([0, 0, 0, 0, 1, 1, 1, 1], 3, None, "with 3 control points"),
    ],
)
def test_a_spline_that_cannot_be_is_refused(knots, degree, weights, said):
    with pytest.raises(ValueError, match=said):
        beziers([(0, 0), (1, 1), (2, 0)], knots, degree, weights)


coordinate = st.floats(-500, 500).map(lambda v: round(v, 3))
point = st.tuples(coordinate, coordinate)
lines = st.tuples(point, point).map(lambda p: Line(*p))
arcs = st.tuples(point, point, point, st.floats(-6, 6), st.floats(0.1, 6)).map(
    lambda p: Arc(p[0], p[1], p[2], p[3], p[3] + p[4])
)
curves = st.one_of(
    lines, arcs,
    st.lists(point, min_size=3, max_size=5).map(
        lambda p: Bezier(np.array([(x, y, 1.0) for x, y in p]))
    ),
)  # fmt: skip


@settings(deadline=None)
@given(curves)
def test_direction_changes_no_length_and_turns_the_area_round(curve):
    back = curve.reversed()
    assert back.length_mm == pytest.approx(curve.length_mm, rel=1e-9, abs=1e-9)
    about = (17.0, -3.0)
    assert back.swept_mm2(about) == pytest.approx(-curve.swept_mm2(about), rel=1e-9, abs=1e-6)
    assert back.start == pytest.approx(curve.end)


@settings(deadline=None)
@given(curves)
def test_chords_are_never_longer_and_lie_in_the_box(curve):
    points = curve.chords(0.001)
    chords = float(np.hypot(*np.diff(points, axis=0).T).sum())
    assert chords <= curve.length_mm * (1 + 1e-9) + 1e-9
    assert chords >= curve.length_mm * (1 - 2e-3) - 0.5
    x_min, y_min, x_max, y_max = curve.box
    assert points[:, 0].min() >= x_min - 1e-6
    assert points[:, 0].max() <= x_max + 1e-6
    assert points[:, 1].min() >= y_min - 1e-6
    assert points[:, 1].max() <= y_max + 1e-6


@settings(deadline=None)
@given(arcs, st.floats(0.01, 0.99))
def test_splitting_an_arc_changes_neither_length_nor_area(arc, share):
    middle = arc.t0 + arc.sweep * share
    parts = [Arc(arc.centre, arc.u, arc.v, arc.t0, middle),
             Arc(arc.centre, arc.u, arc.v, middle, arc.t1)]  # fmt: skip
    assert math.fsum(p.length_mm for p in parts) == pytest.approx(arc.length_mm, rel=1e-9, abs=1e-9)
    assert math.fsum(p.swept_mm2((0, 0)) for p in parts) == pytest.approx(
        arc.swept_mm2((0, 0)), rel=1e-9, abs=1e-6
    )


@settings(deadline=None)
@given(st.lists(point, min_size=4, max_size=8, unique=True), st.floats(0.05, 0.95))
def test_a_knot_put_in_changes_no_length(points, share):
    tool = ezdxf.math.BSpline([Vec2(p) for p in points], order=4)
    knots = list(tool.knots())
    before = math.fsum(p.length_mm for p in beziers(points, knots, 3))
    more = tool.insert_knot(knots[0] + (knots[-1] - knots[0]) * share)
    after = beziers([(p.x, p.y) for p in more.control_points], list(more.knots()), 3)
    assert math.fsum(p.length_mm for p in after) == pytest.approx(before, rel=1e-7, abs=1e-7)
