"""Whole drawings: units, layers, blocks, contours, gaps, repeats, crossings."""

from __future__ import annotations

import math
from itertools import pairwise

import ezdxf
import pytest

from planning.calc.drawing import DrawingError, Reading, UnitUnknown, read_drawing
from tests.planning.calc.drawing.made import INCH, UNITLESS, binary, dxf, square


def said(drawing) -> str:
    return "\n".join(note.text for note in drawing.notes)


def plate(space) -> None:
    """100 x 50, a hole of 20 and a slot of 30 x 10 overall: by hand, lengths 300, 20 pi and
    40 + 10 pi, net area 5000 - 100 pi - (200 + 25 pi)."""
    space.add_lwpolyline([(0, 0), (100, 0), (100, 50), (0, 50)], close=True)
    space.add_circle((25, 25), 10)
    slot = [(60, 20, 0), (80, 20, 1), (80, 30, 0), (60, 30, 1)]
    space.add_lwpolyline(slot, format="xyb", close=True)


PLATE_MM = 300 + 20 * math.pi + 40 + 10 * math.pi
PLATE_MM2 = 5000 - 100 * math.pi - (200 + 25 * math.pi)


@pytest.mark.parametrize("release", ["R12", "R2000", "R2004", "R2007", "R2010", "R2013", "R2018"])
@pytest.mark.parametrize("write", [dxf, binary])
def test_every_release_gives_the_same(release, write):
    def draw(space):
        space.add_line((0, 0), (100, 0))
        space.add_line((100, 50), (100, 0))
        space.add_line((100, 50), (0, 50))
        space.add_arc((0, 25), 25, 90, 270)
        space.add_polyline2d([(20, 25, 1), (40, 25, 1)], format="xyb").close(True)
        space.add_circle((70, 25), 10)

    drawing = read_drawing(write(draw, release=release), Reading(unit="mm"))
    # outline 100 + 50 + 100 + half a circle of 25; half circles of 10 there and back: one circle
    assert drawing.cut_mm == pytest.approx(250 + 25 * math.pi + 20 * math.pi + 20 * math.pi)
    # the half circle bulges out; both circles are holes
    assert drawing.net_area_mm2 == pytest.approx(5000 + math.pi * 625 / 2 - 2 * math.pi * 100)


def test_a_plate_with_a_hole_and_a_slot():
    drawing = read_drawing(dxf(plate))
    assert drawing.cut_mm == pytest.approx(PLATE_MM, rel=1e-12)
    assert drawing.net_area_mm2 == pytest.approx(PLATE_MM2, rel=1e-12)
    assert drawing.pierces == 3
    assert drawing.extents_mm == (0, 0, 100, 50)
    assert [each.kind for each in drawing.contours] == ["hole", "hole", "outer"]
    assert {each.inside for each in drawing.contours} == {3, None}
    assert drawing.notes == ()
    assert (drawing.unit, drawing.unit_said) == ("mm", True)


def test_known_shapes_have_their_lengths():
    # closed forms: slot 2 x 100 + 50 pi; rounded rectangle 200 x 100 r 10: 600 - 80 + 20 pi
    def draw(space):
        space.add_lwpolyline(
            [(0, 0, 0), (100, 0, 1), (100, 50, 0), (0, 50, 1)], format="xyb", close=True
        )
        b = math.tan(math.pi / 8)
        space.add_lwpolyline(
            [(10, 200, 0), (190, 200, b), (200, 210, 0), (200, 290, b),
             (190, 300, 0), (10, 300, b), (0, 290, 0), (0, 210, b)],
            format="xyb", close=True,
        )  # fmt: skip

    slot, rounded = read_drawing(dxf(draw)).contours
    assert slot.length_mm == pytest.approx(357.079632679)
    assert rounded.length_mm == pytest.approx(582.831853072)
    assert rounded.area_mm2 == pytest.approx(200 * 100 - (4 - math.pi) * 100)


def test_an_arc_over_zero_degrees_is_short():
    def draw(space):
        space.add_arc((0, 0), 10, 350, 10)

    [arc] = read_drawing(dxf(draw)).contours
    assert arc.length_mm == pytest.approx(10 * math.radians(20))


def test_inches_are_honoured_and_no_unit_is_asked_for():
    def draw(space):
        square(space, side=4.0)

    assert read_drawing(dxf(draw, units=INCH)).cut_mm == pytest.approx(16 * 25.4)
    with pytest.raises(UnitUnknown, match="It measures 4 by 4 of them"):
        read_drawing(dxf(draw, units=UNITLESS))
    given_unit = read_drawing(dxf(draw, units=UNITLESS), Reading(unit="in"))
    assert given_unit.cut_mm == pytest.approx(16 * 25.4)
    assert not given_unit.unit_said


def test_a_unit_chosen_against_the_file_is_told():
    drawing = read_drawing(dxf(square, units=INCH), Reading(unit="mm"))
    assert drawing.cut_mm == pytest.approx(400)
    assert "the file says in, read as mm" in said(drawing)


def test_a_size_that_no_plate_has_is_asked_after():
    assert "is the unit right" in said(read_drawing(dxf(lambda s: square(s, side=1.0))))


def test_layers_have_roles_by_name_until_a_person_chooses():
    def draw(space):
        square(space, layer="PROFILE")
        square(space, 200, layer="BEND LINES")
        space.add_line((10, 10), (20, 10), dxfattribs={"layer": "ETCH"})
        space.add_text("4 OFF", dxfattribs={"layer": "NOTES"})

    raw = dxf(lambda s: _layered(s, draw))
    drawing = read_drawing(raw)
    roles = {layer.name: layer.role for layer in drawing.layers}
    assert roles == {"PROFILE": "cut", "ETCH": "mark", "BEND LINES": "ignore", "NOTES": "ignore"}
    assert (drawing.cut_mm, drawing.mark_mm) == (400, 10)
    chosen = read_drawing(raw, Reading(roles={"ETCH": "cut", "PROFILE": "ignore"}))
    assert (chosen.cut_mm, chosen.mark_mm) == (10, 0)
    assert {layer.why for layer in chosen.layers if layer.role == "cut"} == {"chosen"}


def _layered(space, draw) -> None:
    class Space:
        """Passes `layer=` of a polyline on as ezdxf wants it."""

        def __getattr__(self, name):
            return getattr(space, name)

        def add_lwpolyline(self, points, *, close, layer="0"):
            return space.add_lwpolyline(points, close=close, dxfattribs={"layer": layer})

    draw(Space())


def test_text_hatch_and_dimension_are_passed_over_and_counted():
    def draw(space):
        square(space)
        space.add_text("A")
        space.add_mtext("B")
        space.add_hatch().paths.add_polyline_path([(0, 0), (1, 0), (1, 1)])
        space.add_linear_dim(base=(0, 110), p1=(0, 100), p2=(100, 100)).render()

    drawing = read_drawing(dxf(draw))
    assert drawing.cut_mm == 400
    for kind in ("TEXT", "MTEXT", "HATCH", "DIMENSION"):
        assert f"1 {kind} on layer 0 passed over" in said(drawing)


def test_blocks_are_taken_apart_with_scale_mirror_and_nesting():
    def draw(space):
        inner = space.doc.blocks.new("HOLE")
        inner.add_circle((0, 0), 5)
        outer = space.doc.blocks.new("TAB")
        outer.add_lwpolyline([(0, 0), (40, 0), (40, 20), (0, 20)], close=True)
        outer.add_blockref("HOLE", (10, 10))
        space.add_blockref("TAB", (0, 0))
        space.add_blockref("TAB", (200, 0), dxfattribs={"xscale": -1, "rotation": 30})
        space.add_blockref("TAB", (400, 0), dxfattribs={"xscale": 2, "yscale": 2})
        space.add_blockref("TAB", (600, 0), dxfattribs={"xscale": 3})

    drawing = read_drawing(dxf(draw))
    holes = [each for each in drawing.contours if each.kind == "hole"]
    outers = [each for each in drawing.contours if each.kind == "outer"]
    assert sorted(each.length_mm for each in outers) == pytest.approx([120, 120, 240, 280])
    # three times as wide: an ellipse of 15 by 5, 4 a E(8/9); E = 1.1134 by DLMF 19.2.8 (AGM above)
    assert sorted(each.area_mm2 for each in holes) == pytest.approx(
        [25 * math.pi, 25 * math.pi, 75 * math.pi, 100 * math.pi]
    )
    assert "HOLE" in holes[0].handles[0]


def test_a_block_on_layer_0_takes_its_inserts_layer():
    def draw(space):
        block = space.doc.blocks.new("B")
        block.add_circle((0, 0), 5)
        block.add_circle((0, 0), 8, dxfattribs={"layer": "ETCH"})
        space.add_blockref("B", (0, 0), dxfattribs={"layer": "INNER"})

    drawing = read_drawing(dxf(draw))
    assert [each.layer for each in drawing.contours] == ["INNER"]
    assert [each.layer for each in drawing.marks] == ["ETCH"]


def test_a_grid_of_inserts_counts_every_one():
    def draw(space):
        space.doc.blocks.new("H").add_circle((0, 0), 5)
        space.add_blockref("H", (0, 0)).grid((3, 4), (20, 20))

    assert read_drawing(dxf(draw)).pierces == 12


def test_an_entity_seen_from_behind_is_mirrored():
    def draw(space):
        space.add_lwpolyline(
            [(0, 0, 0), (10, 0, 1)], format="xyb", close=True,
            dxfattribs={"extrusion": (0, 0, -1)},
        )  # fmt: skip

    drawing = read_drawing(dxf(draw))
    # bulge 1 from (10, 0) back to (0, 0) turns counter-clockwise above; seen from behind X turns
    assert drawing.extents_mm == pytest.approx((-10, 0, 0, 5))
    assert drawing.net_area_mm2 == pytest.approx(math.pi * 25 / 2)


def test_what_is_not_flat_is_measured_from_above_and_told():
    def draw(space):
        space.add_line((0, 0, 0), (30, 40, 10))

    drawing = read_drawing(dxf(draw))
    assert drawing.cut_mm == pytest.approx(50)
    assert "is not flat" in said(drawing)


def test_repeats_in_either_direction_are_left_out_and_named():
    def draw(space):
        plate(space)
        space.add_line((0, 0), (100, 0))  # an edge of the outline, again
        space.add_circle((25, 25), 10)
        space.add_arc((25, 25), 10, 90, 450)  # the same circle from another start
        space.add_line((200, 0), (250, 0))
        space.add_line((250, 0), (200, 0))

    drawing = read_drawing(dxf(draw))
    assert drawing.cut_mm == pytest.approx(PLATE_MM + 50)
    assert said(drawing).count("left out") == 4


def test_two_outlines_that_share_an_edge_both_stay():
    def draw(space):
        square(space)
        square(space, 100)

    drawing = read_drawing(dxf(draw))
    assert (drawing.pierces, drawing.cut_mm) == (2, 800)
    assert "shares an edge" in said(drawing)


def open_square(space, gap: float) -> None:
    space.add_line((0, 0), (100, 0))
    space.add_line((100, gap), (100, 100))
    space.add_line((0, 100), (100, 100))
    space.add_line((0, 100), (0, 0))


@pytest.mark.parametrize(("gap", "limit", "closes"), [
    (0.04, 0.05, True), (0.06, 0.05, False), (0.06, 0.1, True), (0.00005, 0.0, True),
])  # fmt: skip
def test_gaps_are_joined_within_the_limit_only(gap, limit, closes):
    drawing = read_drawing(dxf(lambda s: open_square(s, gap)), Reading(gap_mm=limit))
    [contour] = drawing.contours
    assert contour.closed is closes
    assert ("joined" in said(drawing)) is (closes and gap > 0.001)
    if closes:
        assert contour.area_mm2 == pytest.approx(10_000, rel=1e-3)
    else:
        assert drawing.net_area_mm2 is None
        assert "is open: from X" in said(drawing)
        assert f"{gap:.3f} mm apart" in said(drawing)


def test_islands_are_pieces_of_their_own():
    def draw(space):
        square(space, side=100)
        square(space, 20, 20, 60)
        square(space, 40, 40, 20)

    drawing = read_drawing(dxf(draw))
    assert [each.kind for each in drawing.contours] == ["island", "hole", "outer"]
    assert drawing.net_area_mm2 == 10_000 - 3600 + 400
    assert "a piece of its own" in said(drawing)


def test_a_figure_of_eight_has_no_area():
    def draw(space):
        space.add_lwpolyline([(0, 0), (100, 100), (100, 0), (0, 100)], close=True)

    drawing = read_drawing(dxf(draw))
    assert drawing.net_area_mm2 is None
    assert "crosses itself at X 50.000 Y 50.000" in said(drawing)


def test_contours_that_cross_are_told_with_the_place():
    def draw(space):
        square(space)
        space.add_circle((100, 50), 10)

    drawing = read_drawing(dxf(draw))
    assert "crosses contour" in said(drawing)
    assert drawing.net_area_mm2 is None


def test_three_lines_that_meet_are_no_contour_and_told():
    def draw(space):
        for end in ((10, 0), (0, 10), (-10, 0)):
            space.add_line((0, 0), end)

    drawing = read_drawing(dxf(draw))
    assert "3 lines meet at X 0.000 Y 0.000" in said(drawing)
    assert [each.kind for each in drawing.contours] == ["open"] * 3


def test_two_rings_of_lines_that_touch_at_a_corner_are_two_contours():
    def draw(space):
        ring = [(0, 0), (10, 0), (10, 10), (0, 10), (0, 0)]
        other = [(0, 0), (-10, 0), (-10, -10), (0, -10), (0, 0)]
        for points in (ring, other):
            for start, end in pairwise(points):
                space.add_line(start, end)

    drawing = read_drawing(dxf(draw))
    assert [each.area_mm2 for each in drawing.contours] == pytest.approx([100, 100])


def test_a_spline_through_fit_points_is_measured_as_ezdxf_lays_it():
    def draw(space):
        space.add_spline([(0, 0), (30, 20), (60, -10), (90, 15)])

    document = ezdxf.new()
    tool = document.modelspace().add_spline(
        [(0, 0), (30, 20), (60, -10), (90, 15)]
    ).construction_tool()  # fmt: skip
    flat = list(tool.flattening(1e-5))
    expected = math.fsum(a.distance(b) for a, b in pairwise(flat))
    assert read_drawing(dxf(draw)).cut_mm == pytest.approx(expected, rel=1e-5)


def test_a_layer_that_is_switched_off_is_not_cut():
    def draw(space):
        square(space)
        space.doc.layers.add("OLD").off()
        space.add_circle((50, 50), 10, dxfattribs={"layer": "OLD"})

    drawing = read_drawing(dxf(draw))
    assert drawing.pierces == 1
    assert {layer.name: layer.why for layer in drawing.layers}["OLD"].startswith("switched off")


def test_nothing_to_cut_is_an_error():
    with pytest.raises(DrawingError, match="Nothing is drawn"):
        read_drawing(dxf(lambda space: space.add_text("only words")))
