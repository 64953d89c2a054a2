"""Lengths as each person reads them. 1 in is 25.4 mm exactly (the agreement of 1959)."""

from __future__ import annotations

import pytest

from dashboards import lengths


@pytest.mark.parametrize(
    ("said", "read"),
    [
        ("pit 1.27 mm of 1.6 mm", "pit 0.050 in of 0.063 in"),
        ("1,270 mm/min, from 2026-01-01", "50.0 in/min, from 2026-01-01"),
        ("12,700.0 mm/min", "500 in/min"),
        ("508 mm/s2", "20.0 in/s2"),
        ("rated 600 starts", "rated 600 starts"),
        ("program 12mm-plate.nc", "program 12mm-plate.nc"),
        ("5 mm2 of it", "5 mm2 of it"),
        ("None mm/min", "None mm/min"),
        # 1 ft is 0.3048 m exactly: 3.048 m is 10 ft, 0.3048^2 m² is 1 ft²
        ("3.048 m cut fine, 12 min more", "10.0 ft cut fine, 12 min more"),
        ("1,524.0 m cut", "5,000.0 ft cut"),
        ("0.929 m²", "10.00 ft²"),
        ("metres measured × (a metre's plan)", "feet measured × (a foot's plan)"),
        ("12 m/s and 3 min", "12 m/s and 3 min"),
    ],
)
def test_the_figures_of_a_sentence_are_turned_and_nothing_else(said, read):
    assert lengths.words(said, inch=True) == read
    assert lengths.words(said, inch=False) == said


def test_what_a_length_costs_is_said_by_the_one_its_reader_uses():
    said = "412.0 m cut, 990.00 USD without material: 2.40 USD a metre, 0.73 USD a foot"
    assert lengths.words(said, inch=False).endswith(" without material: 2.40 USD a metre")
    assert lengths.words(said, inch=True).endswith(
        "ft cut, 990.00 USD without material: 0.73 USD a foot"
    )


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
    assert (lengths.fine(0.254, inch=True), lengths.fine(0.254, inch=False)) == ("0.0100", "0.25")
