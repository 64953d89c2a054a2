"""Lengths as each person reads them. 1 in is 25.4 mm exactly (the agreement of 1959)."""

from __future__ import annotations

import pytest

from dashboards import lengths


@pytest.mark.parametrize(
    ("name", "value", "called"),
    [
        ("kerf_mm", 2.54, ("kerf in", 0.1)),
        ("speed_mm_min", 2540.0, ("speed in/min", 100.0)),
        ("accel_mm_s2", 508.0, ("accel in/s2", 20.0)),
        ("touch_off_s", 2.0, ("touch_off_s", 2.0)),
    ],
)
def test_a_figure_named_after_its_unit_is_called_by_its_new_one(name, value, called):
    found = lengths.named(name, value, inch=True)
    assert (found[0], round(found[1], 9)) == called
    assert lengths.named(name, value, inch=False) == (name, value)


def test_thickness_and_fine_lengths():
    """6.35 mm is a quarter inch; 0.254 mm is ten thousandths."""
    assert (lengths.thick(6.35, inch=True), lengths.thick(6.0, inch=False)) == ("0.250 in", "6 mm")
    assert (lengths.depth(0.254, inch=True), lengths.depth(0.254, inch=False)) == ("0.0100", "0.25")
