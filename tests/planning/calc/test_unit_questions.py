"""Bare numbers that fit the other unit better. Worked out by hand: 1 in is 25.4 mm."""

from __future__ import annotations

import pytest

from planning.calc.units import Thickness, UnitError, plate_unit_question


@pytest.mark.parametrize(
    ("text", "mm"), [("6", 6.0), ("0.5", 0.5), ("1/4", 6.35), ("0.25 mm", 0.25)]
)
def test_a_thickness_that_fits_is_taken(text, mm):
    assert Thickness.parse(text).nominal_mm == pytest.approx(mm)


@pytest.mark.parametrize("text", ["0.25", "0.375", ".25"])
def test_a_bare_fraction_of_a_mm_is_questioned(text):
    with pytest.raises(UnitError, match=f"write {float(text):g} in"):
        Thickness.parse(text)


@pytest.mark.parametrize("text", ["0.5", "1", "1,5", "4"])
def test_an_inch_shop_says_which(text):
    with pytest.raises(UnitError, match="in or mm"):
        Thickness.parse(text, inch_shop=True)


@pytest.mark.parametrize(
    ("text", "mm"), [("6", 6.0), ("1/2", 12.7), ("0.5 in", 12.7), ("1 mm", 1.0)]
)
def test_an_inch_shop_is_not_asked_where_one_unit_fits(text, mm):
    assert Thickness.parse(text, inch_shop=True).nominal_mm == pytest.approx(mm)


@pytest.mark.parametrize(
    ("sides", "inch", "asked"),
    [
        ((96, 48), False, True),
        ((2440, 1220), False, False),
        ((600, 300), False, False),
        ((96, 48), True, False),
        ((2440, 1220), True, True),
        ((480, 96), True, False),  # 12.2 m by 2.4 m: the longest plate sold
    ],
)
def test_a_plates_sides_are_asked_about(sides, inch, asked):
    assert bool(plate_unit_question(*sides, inch=inch)) is asked
