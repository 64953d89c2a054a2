"""Layers that are passed over are named with what is on them, and can be read all the same."""

from __future__ import annotations

import pickle

import pytest

from planning.calc.drawing import NothingUsed, Reading, read_drawing
from tests.planning.calc.drawing.made import dxf, square


def off(layer):
    layer.off()


def frozen(layer):
    layer.freeze()


def unplotted(layer):
    layer.dxf.plot = 0


def dashed(layer):
    layer.dxf.linetype = "HIDDEN"


@pytest.mark.parametrize(
    ("name", "change", "why"),
    [
        ("OUTLINE", off, "switched off in the drawing"),
        ("OUTLINE", frozen, "switched off in the drawing"),
        ("OUTLINE", unplotted, "set not to be plotted"),
        ("OUTLINE", dashed, "its lines are not drawn through"),
        ("Dimensions", None, "named like help lines"),
        ("MY TEXT", None, "named like help lines"),
    ],
)
def test_lines_all_on_a_layer_passed_over_name_it_and_can_be_read(name, change, why):
    def draw(space):
        layer = space.doc.layers.add(name)
        if change:
            change(layer)
        square(space, dxfattribs={"layer": name})
        space.add_circle((50, 50), 10, dxfattribs={"layer": name})

    raw = dxf(draw)
    with pytest.raises(NothingUsed) as refused:
        read_drawing(raw)
    assert f"layer {name}, {why}, with 1 CIRCLE, 1 LWPOLYLINE" in refused.value.message
    again = pickle.loads(pickle.dumps(refused.value))
    assert [(each.name, each.role) for each in again.layers] == [(name, "ignore")]
    read = read_drawing(raw, Reading(roles={name: "cut"}))
    assert read.cut_mm == pytest.approx(400 + 62.8318530718)
    assert read.notes == ()


def test_lines_passed_over_beside_those_that_are_cut_are_told():
    def draw(space):
        square(space)
        space.add_line((0, 0), (5, 0), dxfattribs={"layer": "HIDDEN EDGES"})
        space.add_text("R5", dxfattribs={"layer": "NOTES"})

    notes = [each.text for each in read_drawing(dxf(draw)).notes]
    assert "passed over: layer HIDDEN EDGES, named like help lines, with 1 LINE" in notes
    assert not any("layer NOTES, named" in text for text in notes)  # nothing there is a line


def test_a_file_of_words_alone_names_no_layer_to_read():
    def draw(space):
        space.add_text("R5", dxfattribs={"layer": "NOTES"})

    with pytest.raises(NothingUsed) as refused:
        read_drawing(dxf(draw))
    assert refused.value.message == "Nothing is drawn on a layer that is cut or marked."
