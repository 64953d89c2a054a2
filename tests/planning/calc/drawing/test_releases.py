"""Drawings of every release that ezdxf writes, ASCII and binary: the lengths of each kind of
entity against closed forms and scipy's integrals, areas against closed forms."""

from __future__ import annotations

import io
import math
from typing import Any

import ezdxf
import numpy as np
import pytest
from scipy.integrate import quad
from scipy.interpolate import BSpline
from scipy.special import ellipe

from planning.calc.drawing import Drawing, Reading, read_drawing

CONTROL = [(0.0, 0.0), (40.0, 90.0), (120.0, -30.0), (180.0, 70.0), (240.0, 0.0)]
KNOTS = [0, 0, 0, 0, 1, 2, 2, 2, 2]


def written(release: str, draw: Any, *, fmt: str) -> bytes:
    document = ezdxf.new(release)
    document.header["$INSUNITS"] = 4
    draw(document.modelspace())
    if fmt == "bin":
        held = io.BytesIO()
        document.write(held, fmt="bin")
        return held.getvalue()
    text = io.StringIO()
    document.write(text)
    return text.getvalue().encode(document.output_encoding, errors="dxfreplace")


def old(space: Any) -> None:
    """What R12 knows: lines, arcs, circles, a polyline with a round end, a block placed twice."""
    for start, end in (((0, 0), (100, 0)), ((100, 0), (100, 60)), ((100, 60), (0, 0))):
        space.add_line(start, end)
    space.add_circle((80, 20), 7)
    space.add_arc((200, 0), 30, 20, 200)
    space.add_polyline2d(
        [(300, 0, 0), (400, 0, 1), (400, 50, 0), (300, 50, 0)], format="xyb", close=True
    )
    block = space.doc.blocks.new("HOLE")
    block.add_circle((0, 0), 5)
    for x in (320, 380):
        space.add_blockref("HOLE", (x, 25), dxfattribs={"xscale": 2, "yscale": 2})


def new(space: Any) -> None:
    """What came with R13 and later."""
    old(space)
    space.add_ellipse((500, 0), (40, 0), 0.25)
    space.add_lwpolyline([(600, 0, 0), (700, 0, -1), (700, 50, 0)], format="xyb", close=True)
    space.add_open_spline(CONTROL, degree=3, dxfattribs={}).knots = KNOTS


def old_mm() -> float:
    triangle = 100 + 60 + math.hypot(100, 60)
    polyline = 100 + math.pi * 25 + 100 + 50
    return triangle + 2 * math.pi * 7 + math.pi * 30 + polyline + 2 * 2 * math.pi * 10


def new_mm() -> float:
    ellipse = 4 * 40 * ellipe(1 - 0.25**2)
    bow = 100 + math.pi * 25 + math.hypot(100, 50)
    slope = BSpline(np.array(KNOTS, float), np.array(CONTROL), 3).derivative()
    spline = sum(
        quad(lambda t: float(np.hypot(*slope(t))), k, k + 1, epsabs=1e-11)[0] for k in (0, 1)
    )
    return old_mm() + ellipse + bow + spline


def read(raw: bytes) -> Drawing:
    """R12 files say no unit."""
    return read_drawing(raw, Reading(unit="mm"))


@pytest.mark.parametrize("fmt", ["asc", "bin"])
@pytest.mark.parametrize("release", ["R12", "R2000", "R2004", "R2007", "R2010", "R2013", "R2018"])
def test_each_release_has_the_lengths_of_what_is_drawn(release, fmt):
    drawn, length = (old, old_mm()) if release == "R12" else (new, new_mm())
    found = read(written(release, drawn, fmt=fmt))
    assert found.cut_mm == pytest.approx(length, rel=1e-9)
    assert found.version in (release, "R12")
    closed = {round(each.area_mm2 or 0.0, 6) for each in found.contours if each.closed}
    assert round(100 * 60 / 2, 6) in closed
    assert round(100 * 50 + math.pi * 25**2 / 2, 6) in closed
    assert round(math.pi * 100, 6) in closed
    assert release == "R12" or round(math.pi * 40 * 10, 6) in closed


@pytest.mark.parametrize("release", ["R2000", "R2007", "R2018"])
@pytest.mark.parametrize("layer", ["AUSSEN_GR\u00d6SSE", "\u041a\u043e\u043d\u0442\u0443\u0440"])
def test_names_of_layers_in_any_letters_are_read(release, layer):
    """Before R2007 in the file's own code page, with \\\\U+XXXX for what that lacks."""

    def draw(space: Any) -> None:
        space.add_circle((0, 0), 5, dxfattribs={"layer": layer})

    assert [each.name for each in read(written(release, draw, fmt="asc")).layers] == [layer]
