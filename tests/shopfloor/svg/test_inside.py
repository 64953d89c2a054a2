"""Where a part's number has room, by shapes worked out by hand."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from shopfloor.svg.label_spot import Spot, label_spot

# An angle of 100 by 100 mm, its legs 30 mm: the middle of its box, (50, 50), is not metal.
ANGLE = ((0, 0), (100, 0), (100, 30), (30, 30), (30, 100), (0, 100), (0, 0))


def test_the_middle_of_a_plate_is_where_its_number_stands():
    assert label_spot(((0, 0), (40, 0), (40, 20), (0, 20), (0, 0))) == Spot(20, 10, 40, 20)


def test_a_hole_in_the_middle_moves_no_number():
    """A ring is numbered by its outline alone: its middle is as good a place as any."""
    octagon = ((3, 0), (7, 0), (10, 3), (10, 7), (7, 10), (3, 10), (0, 7), (0, 3))
    assert (label_spot(octagon).x, label_spot(octagon).y) == (5, 5)


def test_the_number_of_an_angle_stands_on_the_angle():
    found = label_spot(ANGLE)
    assert (0 < found.x < 30 and 0 < found.y < 100) or (0 < found.y < 30 and 0 < found.x < 100)
    assert min(found.wide, found.high) >= 30  # a leg is 30 wide; where both meet there is more


@pytest.mark.parametrize("turned", [1, -1])
def test_a_channel_is_numbered_on_its_back_or_a_leg(turned):
    """80 by 60 mm, 20 mm thick, open to one side: (40, 30) lies in the mouth."""
    outline = [(0, 0), (80, 0), (80, 60), (60, 60), (60, 20), (20, 20), (20, 60), (0, 60)]
    found = label_spot([(x, turned * y) for x, y in outline])
    y = turned * found.y
    assert not (20 < found.x < 60 and 20 < y < 60)
    assert 0 < found.x < 80
    assert 0 < y < 60


@given(st.integers(5, 95), st.integers(5, 95), st.integers(1, 400))
def test_of_any_angle_the_spot_is_metal(across, up, size):
    """Legs from a twentieth to nearly all of it."""
    x, y = size * across / 100, size * up / 100
    found = label_spot(((0, 0), (size, 0), (size, y), (x, y), (x, size), (0, size)))
    assert 0 < found.x < size
    assert 0 < found.y < size
    assert found.x < x or found.y < y


def test_nothing_has_no_spot():
    with pytest.raises(ValueError, match="no outline"):
        label_spot(())
