"""The example shop's sheets are laid out as a shop would: held against shapely, which nobody here
wrote, and against areas worked by hand."""

from __future__ import annotations

import pytest
from shapely import Polygon, unary_union

from shopfloor.demo import shapes
from shopfloor.demo.catalogue import DESIGNS, program_of
from shopfloor.demo.layout import lay_out
from shopfloor.demo.orders import read

EVERY = pytest.mark.parametrize("index", range(len(DESIGNS)))


def outlines(index):
    """Each part as cut, its holes and bores apart from it."""
    placed = program_of(index).placed
    found = {}
    for contour, place in zip(read(index).contours, placed, strict=True):
        after_lead_in = contour.points[1:]
        whole = Polygon([(float(x), float(y)) for x, y in after_lead_in])
        holes, outer = found.setdefault((place.part, place.copy), ([], []))
        (holes if place.inner else outer).append(whole)
    return [outer[0].difference(unary_union(holes)) for holes, outer in found.values()]


@EVERY
def test_parts_lie_on_the_sheet_apart_from_each_other(index):
    length, width = DESIGNS[index].area
    parts = outlines(index)
    for part in parts:
        left, low, right, high = part.bounds
        assert min(left, low) >= 11.9
        assert right <= length - 11.9
        assert high <= width - 11.9
    near = [one.distance(other) for place, one in enumerate(parts) for other in parts[place + 1 :]]
    assert min(near) > 9  # room for a kerf and a lead-in


@EVERY
def test_parts_take_70_to_85_percent_of_what_is_used(index):
    length, width = DESIGNS[index].area
    share = sum(part.area for part in outlines(index)) / (length * width)
    assert 0.70 <= share <= 0.85


@EVERY
def test_all_the_parts_meant_for_it_are_on_it(index):
    wanted = tuple(count for _, count in DESIGNS[index].parts)
    assert program_of(index).copies == wanted


def test_the_turned_part_of_a_pair_lies_close():
    """Two brackets of 200 with legs of 0.4 x 200 = 80: the second begins 80 and a gap along."""
    laid = list(lay_out([(shapes.bracket(200, 200, 10), 2)], (400.0, 300.0), 10.0))
    assert [(spot.x, spot.y, spot.turned) for _, spot in laid] == [
        (10.0, 10.0, False),
        (100.0, 10.0, True),
    ]


def test_a_cover_is_cut_inside_the_bore_before_its_ring():
    parts = [(shapes.flange(300, 120, 6, 20), 1), (shapes.cover(90), 1)]
    [(first, cover), (second, ring)] = lay_out(parts, (400.0, 400.0), 10.0)
    assert (first, second) == (1, 0)
    assert (cover.x, cover.y) == (10 + (300 - 90) / 2, 10 + (300 - 90) / 2)
    assert (ring.x, ring.y) == (10.0, 10.0)
