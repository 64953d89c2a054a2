"""Arc lengths worked out apart from this project with reference libraries, to the digits given.
Rules: NISTIR 6556 section 3.5.3."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from planning.calc.program.arcs import ArcError, from_centre, from_radius


@pytest.mark.parametrize(
    ("start", "end", "radius", "clockwise", "centre", "sweep_deg", "length"),
    [
        ((0, 0), (10, 15), 20, True, (19.855069, -2.403379), 53.576426, 18.701701),
        ((0, 0), (10, 15), -20, True, (-9.855069, 17.403380), 306.423574, 106.962005),
        ((0, 0), (10, 0), 5, True, (5, 0), 180, 15.707963),
        ((1, 1), (2, 2), 1, False, (1, 2), 90, 1.570796),
    ],
)
def test_arcs_by_radius(start, end, radius, clockwise, centre, sweep_deg, length):
    cx, cy, sweep, r = from_radius(*start, *end, radius, clockwise=clockwise, tolerance_mm=0.002)
    assert (cx, cy) == pytest.approx(centre, abs=1e-6)
    assert math.degrees(abs(sweep)) == pytest.approx(sweep_deg, abs=1e-6)
    assert (sweep < 0) == clockwise
    assert abs(sweep) * r == pytest.approx(length, abs=1e-6)


def test_full_circle_by_centre():
    cx, cy, sweep, r = from_centre(0, 0, 0, 0, 5, 0, clockwise=True, tolerance_mm=0.002)
    assert (cx, cy, r) == (5, 0, 5)
    assert abs(sweep) * r == pytest.approx(31.415927, abs=1e-6)


def test_radii_may_differ_by_the_tolerance_and_no_more():
    # NISTIR 6556: 0.002 mm.
    assert from_centre(0, 0, 10.002, 0, 5, 0, clockwise=True, tolerance_mm=0.002)[3] == 5.001
    with pytest.raises(ArcError, match="radius"):
        from_centre(0, 0, 10.0021, 0, 5, 0, clockwise=True, tolerance_mm=0.002)


@pytest.mark.parametrize(
    ("end", "radius", "said"), [((0, 0), 5, "full circle"), ((20, 0), 5, "too small")]
)
def test_arcs_by_radius_that_do_not_exist(end, radius, said):
    with pytest.raises(ArcError, match=said):
        from_radius(0, 0, *end, radius, clockwise=True, tolerance_mm=0.002)


places = st.floats(-100, 100)


@given(places, places, places, places, st.floats(1, 500), st.booleans(), st.booleans())
def test_centre_and_radius_forms_describe_the_same_arc(x0, y0, x1, y1, extra, clockwise, long):
    chord = math.hypot(x1 - x0, y1 - y0)
    if chord < 0.1:
        return
    radius = (chord / 2 + extra) * (-1 if long else 1)
    cx, cy, sweep, r = from_radius(x0, y0, x1, y1, radius, clockwise=clockwise, tolerance_mm=0.002)
    assert math.hypot(x0 - cx, y0 - cy) == pytest.approx(r, rel=1e-9)
    assert math.hypot(x1 - cx, y1 - cy) == pytest.approx(r, rel=1e-9)
    again = from_centre(x0, y0, x1, y1, cx, cy, clockwise=clockwise, tolerance_mm=0.002)
    assert again[2] == pytest.approx(sweep, rel=1e-6)
