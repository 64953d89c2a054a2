"""A drawing nobody here wrote: `integration_tests/data/no_layouts.dxf` of ezdxf 1.4.5's source
archive (MIT, fixtures/drawings/packaged.LICENSE): two cubic splines, one inside the other, by
another writer, in DXF R2007 and centimetres. Held against ezdxf's own flattening of each."""

from __future__ import annotations

import math
from itertools import pairwise
from pathlib import Path

import ezdxf
import pytest

from planning.calc.drawing import Reading, read_drawing

PATH = Path(__file__).parents[4] / "fixtures" / "drawings" / "packaged.dxf"


def flattened() -> list[tuple[float, float]]:
    """(length, area) of each spline from its chords, 1e-6 off at most; the largest area first."""
    found = []
    for spline in ezdxf.readfile(PATH).modelspace():
        points = list(spline.construction_tool().flattening(1e-6))
        length = math.fsum(a.distance(b) for a, b in pairwise(points))
        area = math.fsum(a.x * b.y - b.x * a.y for a, b in pairwise(points)) / 2
        found.append((length, abs(area)))
    return sorted(found, key=lambda each: -each[1])


def test_its_unit_is_the_one_it_says():
    drawing = read_drawing(PATH.read_bytes())
    assert (drawing.unit, drawing.unit_said) == ("cm", True)
    assert drawing.size_mm == pytest.approx((200, 200), abs=0.01)


def test_lengths_and_areas_agree_with_flattening_by_ezdxf():
    drawing = read_drawing(PATH.read_bytes(), Reading(unit="mm"))
    outer, hole = flattened()
    assert [each.kind for each in drawing.contours] == ["hole", "outer"]
    ours = drawing.contours
    assert ours[1].length_mm == pytest.approx(outer[0], rel=1e-6)
    assert ours[0].length_mm == pytest.approx(hole[0], rel=1e-6)
    assert drawing.net_area_mm2 == pytest.approx(outer[1] - hole[1], rel=1e-6)
    assert not drawing.faults
