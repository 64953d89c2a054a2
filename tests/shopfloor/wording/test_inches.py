"""Who reads inches is told lengths in inches, whatever is refused or questioned at a table."""

from __future__ import annotations

import pytest

from tests.shopfloor.floor_shop import MINUTE, T0


@pytest.fixture
def running(floor):
    """A nest of 2,000 x 900 mm on its sheet; its operator reads inches."""
    floor.person.units = "inch"
    floor.person.save()
    floor.tray(label="A")
    floor.done("change_tray", T0 - MINUTE, tray="A")
    made = floor.nest()
    made.extents_mm = [0, 0, 2000, 900]
    made.save()
    floor.sheet()
    return floor.done("start", T0, revision=made.pk, sheet="S-1")["run"]


def test_a_plate_too_small_is_told_in_inches(floor, running):
    """1,200 mm are 47.2 in, 600 mm 23.6 in; 2,000 mm are 78.7 in, 900 mm 35.4 in."""
    floor.sheet("S-2", length_mm=1200, width_mm=600, area_mm2=720_000)
    after = floor.do(
        "swap_sheet", T0 + MINUTE, run=running, sheet="S-2", since="start", swap_reason="other"
    )
    said = str(after.result)
    assert "Sheet S-2 is 47.2 x 23.6 in, the nest takes 78.7 x 35.4 in." in said
    assert "mm" not in said


def test_a_remnant_too_small_is_told_in_inches(floor, running):
    """Figures that would be a plate's in inches, sent as millimetres: 1.4 x 0.9 in."""
    size = {"length_mm": 36, "width_mm": 24}
    after = floor.do("finish", T0 + MINUTE, run=running, exceptions=[], remnant=size)
    assert after.state == "refused"
    assert after.result["message"] == "1.4 x 0.9 in is too small for a remnant."
    assert after.result["hint"] == "Enter it in inches, or leave the remnant out."


def test_a_pit_too_deep_is_told_in_inches(floor, running):
    """25.4 mm are one inch, 10 mm are 0.394 in."""
    after = floor.do("inspect", T0 + MINUTE, piece="A-electrode", pit_mm=25.4)
    assert after.state == "refused"
    assert after.result["message"] == "A pit of 1 in?"
    assert after.result["hint"] == "Measure again: 0 to 0.394 in."
