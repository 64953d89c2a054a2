"""Blocks placed on layers that are off or frozen, and blocks that are hidden themselves, held
against what ezdxf's own renderer draws."""

from __future__ import annotations

import io
import itertools
import math
from typing import Any

import ezdxf
import pytest
from ezdxf.addons.drawing import Frontend, RenderContext
from ezdxf.addons.drawing.recorder import PathRecord, Recorder

from planning.calc.drawing import read_drawing

SQUARE_MM, ROUND_MM = 400.0, 20 * math.pi


def drawn(state: str) -> Any:
    """A block with squares on CUT and on "0", in one that is placed on PLACED; a circle beside."""
    document = ezdxf.new("R2010")
    document.header["$INSUNITS"] = 4
    for name in ("CUT", "PLACED"):
        document.layers.add(name)
    inner, outer = document.blocks.new("INNER"), document.blocks.new("OUTER")
    for x, layer in ((0, "CUT"), (200, "0")):
        inner.add_lwpolyline(
            [(x, 0), (x + 100, 0), (x + 100, 100), (x, 100)],
            close=True,
            dxfattribs={"layer": layer},
        )
    below = outer.add_blockref("INNER", (0, 0), dxfattribs={"layer": "0"})
    placed = document.modelspace().add_blockref("OUTER", (0, 0), dxfattribs={"layer": "PLACED"})
    document.modelspace().add_circle((500, 0), 10, dxfattribs={"layer": "CUT"})
    placed_on = document.layers.get("PLACED")
    match state:
        case "frozen":
            placed_on.freeze()
        case "off":
            placed_on.off()
        case "hidden":
            placed.dxf.invisible = 1
        case "hidden below":
            below.dxf.invisible = 1
    return document


def rendered_mm(document: Any) -> float:
    backend = Recorder()
    Frontend(RenderContext(document), backend).draw_layout(document.modelspace())
    found = 0.0
    for record, _properties in backend.player().recordings():
        if isinstance(record, PathRecord):
            points = list(record.path.to_path().flattening(0.01))
            found += sum(one.distance(other) for one, other in itertools.pairwise(points))
    return found


def read_mm(document: Any) -> tuple[float, list[str]]:
    text = io.StringIO()
    document.write(text)
    reading = read_drawing(text.getvalue().encode())
    cut = sum(each.length_mm for each in reading.contours)
    return cut, [str(note.text) for note in reading.notes]


@pytest.mark.parametrize(
    ("state", "squares"),
    [("", 2), ("frozen", 1), ("off", 1), ("hidden", 0), ("hidden below", 0)],
)
def test_what_is_read_is_what_is_drawn(state, squares):
    document = drawn(state)
    cut, notes = read_mm(document)
    assert rendered_mm(document) == pytest.approx(squares * SQUARE_MM + ROUND_MM, rel=1e-3)
    assert cut == pytest.approx(squares * SQUARE_MM + ROUND_MM)
    assert any("frozen" in note for note in notes) == (state == "frozen")
    assert any("invisible INSERT" in note for note in notes) == ("hidden" in state)
