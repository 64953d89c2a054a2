"""What names of files say of parts, and what they do not."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from planning.calc.drawing.named import read_name

MATERIALS = {
    "S355": ("S355", "Structural steel S355"),
    "304L": ("304L", "Stainless 304 L"),
    "304": ("304", "Stainless 304"),
    "A36": ("A36", "Mild steel"),
}


@pytest.mark.parametrize(
    ("name", "part", "quantity", "thickness", "material"),
    [
        ("bracket_10mm_S355_x20.dxf", "bracket", 20, "10 mm", "S355"),
        ("20x bracket 10 mm s355.DXF", "bracket", 20, "10 mm", "S355"),
        ("S355-10mm-bracket-qty 20.dxf", "bracket", 20, "10 mm", "S355"),
        ("left_10mm_bracket_20off.dxf", "left_bracket", 20, "10 mm", ""),
        ("gusset 1-4in A36 qty=4.dxf", "gusset", 4, "1/4 in", "A36"),
        ("gusset_1-1-4in_mild steel_4pcs.dxf", "gusset", 4, "1 1/4 in", "A36"),
        ('gusset .25" A36 x4.dxf', "gusset", 4, ".25 in", "A36"),
        ("gusset_0,25in.dxf", "gusset", None, "0.25 in", ""),
        ("cover_16ga_304L_x3.dxf", "cover", 3, "16 ga", "304L"),
        ("cover 304 L x3.dxf", "cover", 3, "", "304L"),
        ("plate_t12_S355.dxf", "plate", None, "12", "S355"),
        ("plate_t=12mm.dxf", "plate", None, "12 mm", ""),
        ("AB-1200-03_6.5mm.dxf", "AB-1200-03", None, "6.5 mm", ""),
        ("flange (x8).dxf", "flange", 8, "", ""),
        # sides of a part, numbers of parts and words are no quantities, thicknesses or materials
        ("plate 100x50.dxf", "plate 100x50", None, "", ""),
        ("plate 100 x50.dxf", "plate 100 x50", None, "", ""),
        ("plate 100x 50.dxf", "plate 100x 50", None, "", ""),
        ("plate 100x50x10mm.dxf", "plate 100x50x10mm", None, "", ""),
        ("plate_100x50_x4.dxf", "plate_100x50", 4, "", ""),
        ("index2in1.dxf", "index2in1", None, "", ""),
        ("A360.dxf", "A360", None, "", ""),
        ("rev_x0.dxf", "rev_x0", None, "", ""),
        ("10mm.dxf", "10mm", None, "10 mm", ""),
        ("jobs/4711\\deep/pad_x2.dxf", "pad", 2, "", ""),
    ],
)
def test_names_say_how_many_how_thick_and_of_what(name, part, quantity, thickness, material):
    found = read_name(name, MATERIALS)
    assert (found.part, found.quantity, found.thickness, found.material) == (
        part, quantity, thickness, material,
    )  # fmt: skip
    assert found.doubts == ()


@pytest.mark.parametrize(
    ("name", "doubt"),
    [
        ("pad_10mm_12mm.dxf", "its name has several thicknesses: 10 mm, 12 mm"),
        ("pad_x2_qty3.dxf", "its name has several quantities: 2, 3"),
        ("pad_S355_A36.dxf", "its name has several materials: S355, A36"),
    ],
)
def test_what_a_name_says_twice_is_not_taken(name, doubt):
    found = read_name(name, MATERIALS)
    assert found.doubts == (doubt,)
    assert (found.part, found.quantity, found.thickness, found.material) == (
        name.removesuffix(".dxf"), None, "", "",
    )  # fmt: skip


@settings(max_examples=100, deadline=None)
@given(st.text(max_size=300))
def test_any_name_has_an_answer(name):
    found = read_name(name, MATERIALS)
    assert found.quantity is None or found.quantity > 0
    assert found.material in {"", *MATERIALS}
