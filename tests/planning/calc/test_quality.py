"""ISO 9013:2017, formulas as read in three independent copies (range 5 of u in two)."""

from __future__ import annotations

import math

import pytest

from planning.calc.quality import (
    QualityError,
    classify,
    edge_strip_mm,
    kerf_correction_mm,
    rz5_limits_um,
    rz5_range,
    u_from_angle_mm,
    u_from_sizes_mm,
    u_limits_mm,
    u_range,
)

U_MM = {
    3: (0.059, 0.171, 0.430, 0.860, 1.305),
    6: (0.068, 0.192, 0.460, 0.920, 1.410),
    6.35: (0.06905, 0.19445, 0.4635, 0.9270, 1.42225),
    10: (0.080, 0.220, 0.500, 1.000, 1.550),
    12: (0.086, 0.234, 0.520, 1.040, 1.620),
    12.7: (0.0881, 0.2389, 0.5270, 1.0540, 1.6445),
    20: (0.110, 0.290, 0.600, 1.200, 1.900),
    25: (0.125, 0.325, 0.650, 1.300, 2.075),
    25.4: (0.1262, 0.3278, 0.6540, 1.3080, 2.0890),
    50.8: (0.2024, 0.5056, 0.9080, 1.8160, 2.9780),
}
RZ5_UM = {
    3: (11.8, 42.4, 73.6, 115.4),
    6: (13.6, 44.8, 77.2, 120.8),
    10: (16.0, 48.0, 82.0, 128.0),
    12: (17.2, 49.6, 84.4, 131.6),
    20: (22.0, 56.0, 94.0, 146.0),
    25: (25.0, 60.0, 100.0, 155.0),
}


@pytest.mark.parametrize(("thickness", "limits"), U_MM.items())
def test_u_limits_and_their_edges(thickness, limits):
    assert u_limits_mm(thickness) == pytest.approx(limits, abs=1e-12)
    for number, limit in enumerate(limits, 1):
        assert u_range(limit, thickness) == number
        assert u_range(limit + 1e-6, thickness) == (number + 1 if number < 5 else None)


@pytest.mark.parametrize(("thickness", "limits"), RZ5_UM.items())
def test_rz5_limits_and_their_edges(thickness, limits):
    assert rz5_limits_um(thickness) == pytest.approx(limits, abs=1e-12)
    for number, limit in enumerate(limits, 1):
        assert rz5_range(limit, thickness) == number
        assert rz5_range(limit + 1e-6, thickness) == (number + 1 if number < 4 else None)


def test_designation():
    # The standard's own way of writing: u range 3, Rz5 range 4, class 2.
    assert classify(0.46, 115, 6, 2).designation == "ISO 9013-342"
    assert classify(0.46, 115, 6).designation == "ISO 9013-340"
    outside = classify(5.0, 115, 6)
    assert (outside.u_range, outside.rz5_range, outside.designation) == (None, 4, None)
    assert classify(0.46, 999, 6).designation is None


@pytest.mark.parametrize("thickness", [0.49, 150.01, -1, math.nan])
def test_thickness_outside_the_scope_is_refused(thickness):
    with pytest.raises(QualityError, match=r"0\.5 to 150"):
        classify(0.1, 10, thickness)


@pytest.mark.parametrize("value", [-0.1, math.nan, math.inf])
def test_a_measurement_that_cannot_be_is_refused(value):
    with pytest.raises(QualityError):
        u_range(value, 6)
    with pytest.raises(QualityError):
        rz5_range(value, 6)


@pytest.mark.parametrize(
    # Values from memory of the standard; a stored table has 1.5, 3.4, 6.4, 9.5, 12.7 and 19.05
    # (rounded to 0.1 there).
    ("thickness", "strip"),
    [(1.5, 0.15), (3, 0.3), (3.4, 0.3), (6.4, 0.6), (9.5, 0.6), (12.7, 1), (19.05, 1), (40, 1.5),
     (100, 2), (150, 3)],
)  # fmt: skip
def test_edge_strip(thickness, strip):
    assert edge_strip_mm(thickness) == pytest.approx(strip)


def test_u_from_an_angle_and_from_two_sizes_agree():
    # By hand: 10 mm plate, strip 0.6 -> 8.8 mm measured; 2 degrees -> 8.8 tan 2 = 0.30730.
    assert u_from_angle_mm(2, 10) == pytest.approx(8.8 * 0.0349207695, rel=1e-9)
    # A disc with both sides at that angle is 2 x 10 tan 2 = 0.69842 mm smaller at the top.
    assert u_from_sizes_mm(50, 50 + 20 * 0.0349207695, 10) == pytest.approx(
        u_from_angle_mm(2, 10), rel=1e-9
    )
    with pytest.raises(QualityError):
        u_from_angle_mm(90, 10)
    with pytest.raises(QualityError):
        u_from_sizes_mm(0, 5, 10)


def test_kerf_correction_is_reversed_for_holes():
    # By hand: a 100 mm part measured 99.4 lacks 0.3 a side; a 20 mm hole measured 20.5 is 0.25 a
    # side too large.
    assert kerf_correction_mm(100, 99.4, hole=False) == pytest.approx(0.3)
    assert kerf_correction_mm(20, 20.5, hole=True) == pytest.approx(0.25)
