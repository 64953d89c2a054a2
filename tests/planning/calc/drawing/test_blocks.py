"""Blocks in blocks, mirrored, stretched and in grids, held against ezdxf's own placing of them
(virtual_entities), areas against shapely's of fine chords, and lengths against chords mapped point
by point too: of an arc in a stretched block turned in another, ezdxf takes the wrong part."""

from __future__ import annotations

import io
import math
import random
from collections.abc import Iterator
from typing import Any

import ezdxf
import pytest
import shapely

from planning.calc.drawing import Reading, read_drawing

FINE_MM = 1e-5


def part(block: Any) -> None:
    """A plate with an arc side, a round hole, an oval one and a slit that is drawn and no outline
    of its own, all away from the block's base point."""
    block.add_lwpolyline(
        [(10, 5, 0), (90, 5, 0.4), (90, 55, 0), (10, 55, 0)], format="xyb", close=True
    )
    block.add_circle((30, 30), 8)
    block.add_ellipse((60, 30), (12, 5), 0.5)


def flat(insert: Any) -> Iterator[Any]:
    """What ezdxf makes of an insert: each entity where it lies, grids and blocks taken apart."""
    for copy in insert.multi_insert() if insert.mcount > 1 else (insert,):
        for entity in copy.virtual_entities():
            if entity.dxftype() == "INSERT":
                yield from flat(entity)
            elif entity.dxftype() not in ("ATTDEF", "ATTRIB", "TEXT"):
                yield entity


def pieces(entity: Any) -> Iterator[list[tuple[float, float]]]:
    """Its lines and arcs in fine chords. (ezdxf's paths are no judge here: they replace an arc by
    a cubic, which is 5e-5 too long.)"""
    kind = entity.dxftype()
    if kind == "LWPOLYLINE":
        for each in entity.virtual_entities():
            yield from pieces(each)
    elif kind == "LINE":
        yield [(round(p.x, 6), round(p.y, 6)) for p in (entity.dxf.start, entity.dxf.end)]
    else:
        yield [(round(p.x, 6), round(p.y, 6)) for p in entity.flattening(FINE_MM)]


def figures(insert: Any) -> tuple[float, float]:
    """Length by ezdxf and net area by shapely: rings by even and odd."""
    lines = [shapely.LineString(each) for entity in flat(insert) for each in pieces(entity)]
    rings = shapely.polygonize(list(shapely.line_merge(shapely.MultiLineString(lines)).geoms))
    area = shapely.Polygon()
    for ring in rings.geoms:
        area = area.symmetric_difference(shapely.Polygon(ring.exterior))
    return math.fsum(line.length for line in lines), area.area


Lines = list[list[tuple[float, float]]]


def mapped(lines: Lines, base: tuple[float, float], at: tuple[float, float], x: float, y: float,
           turn: float) -> Lines:  # fmt: skip
    """Scaled, turned and moved, as the DXF reference says of INSERT: base point to ``at``."""
    cos, sin = math.cos(math.radians(turn)), math.sin(math.radians(turn))
    moved = [[((px - base[0]) * x, (py - base[1]) * y) for px, py in line] for line in lines]
    return [
        [(px * cos - py * sin + at[0], px * sin + py * cos + at[1]) for px, py in line]
        for line in moved
    ]


def mapped_mm(*, x=1.0, y=1.0, turn=0.0, grid=None, nested=0, inner=(1.0, 1.0, 0.0)) -> float:
    """Length of the part's fine chords, each point put where ``placed`` puts it."""
    block = ezdxf.new("R2010").blocks.new("B")
    part(block)
    lines, base = [each for entity in block for each in pieces(entity)], (3.0, 4.0)
    for level in range(1, nested + 1):
        lines, base = mapped(lines, base, (7.0 * level, -2.0), *inner), (0.0, 0.0)
    lines = mapped(lines, base, (100.0, -50.0), x, y, turn)
    copies = grid[0][0] * grid[0][1] if grid else 1
    return copies * math.fsum(shapely.LineString(line).length for line in lines)


def placed(*, x=1.0, y=1.0, turn=0.0, grid=None, nested=0, inner=(1.0, 1.0, 0.0), units=4):
    """The drawing's bytes and its insert; ``nested`` blocks each insert the one before, turned
    and scaled by ``inner``."""
    document = ezdxf.new("R2010")
    document.header["$INSUNITS"] = units
    block = document.blocks.new("B0", base_point=(3, 4))
    part(block)
    block.add_attdef("MARK", (0, 0))
    for level in range(1, nested + 1):
        outer = document.blocks.new(f"B{level}")
        at = {"xscale": inner[0], "yscale": inner[1], "rotation": inner[2]}
        outer.add_blockref(f"B{level - 1}", (7 * level, -2), dxfattribs=at)
    insert = document.modelspace().add_blockref(
        f"B{nested}", (100, -50), dxfattribs={"xscale": x, "yscale": y, "rotation": turn}
    )
    insert.add_attrib("MARK", "P-1", (0, 0))
    if grid:
        insert.grid(*grid)
    written = io.StringIO()
    document.write(written)
    return written.getvalue().encode(), insert


@pytest.mark.parametrize(
    "how",
    [
        {},
        {"x": 2.0, "y": 2.0, "turn": 30.0},
        {"x": -1.0},
        {"y": -1.0, "turn": 200.0},
        {"x": -1.5, "y": -0.5, "turn": 77.0},
        {"x": 3.0, "y": 0.4, "turn": 15.0},
        {"grid": ((2, 3), (70, 130))},
        {"grid": ((2, 2), (70, 130)), "turn": 33.0},
        {"grid": ((3, 1), (150, 0)), "x": -1.0, "y": 1.3, "turn": 12.0},
        {"nested": 3},
        {"nested": 3, "inner": (0.8, 0.8, 20.0), "x": -2.0, "y": 2.0},
        {"nested": 2, "inner": (-1.0, 1.0, 45.0), "turn": -30.0},
        {"nested": 2, "inner": (1.0, -2.0, 90.0), "x": 1.5, "y": 1.5},
        {"nested": 2, "inner": (1.2, 0.7, 90.0), "x": 2.0, "y": 0.5, "grid": ((1, 2), (0, 400))},
    ],
)  # fmt: skip
def test_placed_blocks_have_the_lengths_and_areas_that_ezdxf_and_shapely_find(how):
    raw, insert = placed(**how)
    read = read_drawing(raw)
    length, area = figures(insert)
    assert read.cut_mm == pytest.approx(mapped_mm(**how), rel=2e-6)
    if how.get("nested", 0) == 0 or "inner" not in how:
        assert read.cut_mm == pytest.approx(length, rel=2e-6)
    assert read.net_area_mm2 == pytest.approx(area, rel=2e-6)
    columns, rows = (how["grid"][0][1], how["grid"][0][0]) if "grid" in how else (1, 1)
    assert read.pierces == 3 * columns * rows
    assert read.faults == ()


@pytest.mark.parametrize(("units", "mm"), [(1, 25.4), (2, 304.8), (4, 1.0), (5, 10.0), (6, 1000.0)])
def test_the_unit_of_the_header_scales_placed_blocks(units, mm):
    raw, insert = placed(x=-0.01, y=0.02, turn=20.0, units=units)
    length, area = figures(insert)
    read = read_drawing(raw)
    assert read.cut_mm == pytest.approx(length * mm, rel=1e-4)  # flattened in the drawing's unit
    assert read.net_area_mm2 == pytest.approx(area * mm * mm, rel=1e-4)
    assert (read.unit_said, read.unit) == (
        True,
        {1: "in", 2: "ft", 4: "mm", 5: "cm", 6: "m"}[units],
    )


@pytest.mark.parametrize("units", [0, 3, 7, 21, None])
def test_a_unit_that_is_missing_or_no_plates_is_asked_for(units):
    raw, insert = placed(units=units or 0)
    if units is None:
        at = raw.index(b"$INSUNITS")
        raw = raw[:at] + b"$OTHERVAR" + raw[at + 9 :]
    with pytest.raises(ValueError, match="does not say its unit: choose one"):
        read_drawing(raw)
    assert read_drawing(raw, Reading(unit="mm")).cut_mm == pytest.approx(
        figures(insert)[0], rel=2e-6
    )


def test_a_circle_scaled_one_way_is_an_ellipse_of_that_length():
    """Twice the axes' length by the arithmetic-geometric mean (Gauss), to 1e-12."""
    document = ezdxf.new("R2010")
    document.header["$INSUNITS"] = 4
    document.blocks.new("C").add_circle((0, 0), 10)
    document.modelspace().add_blockref("C", (5, 5), dxfattribs={"xscale": -3, "rotation": 31})
    written = io.StringIO()
    document.write(written)
    read = read_drawing(written.getvalue().encode())
    assert read.cut_mm == pytest.approx(ellipse_mm(30.0, 10.0), rel=1e-11)
    assert read.net_area_mm2 == pytest.approx(math.pi * 300, rel=1e-11)


def ellipse_mm(a: float, b: float) -> float:
    c2 = a * a - b * b
    x, y, share, total = a, b, 0.5, c2 / 2
    for _ in range(30):
        x, y, c = (x + y) / 2, math.sqrt(x * y), (x - y) / 2
        share *= 2
        total += share * c * c
    return 2 * math.pi / x * (a * a - total)


def test_random_nests_of_blocks_agree():
    chance = random.Random(20)
    for _ in range(8):
        how: dict[str, Any] = {
            "x": chance.choice((-1, 1)) * chance.uniform(0.3, 3),
            "y": chance.choice((-1, 1)) * chance.uniform(0.3, 3),
            "turn": chance.uniform(-180, 180),
            "nested": chance.randint(0, 4),
            "inner": (chance.choice((-1, 1)) * chance.uniform(0.5, 1.5),
                      chance.uniform(0.5, 1.5), chance.uniform(-180, 180)),
        }  # fmt: skip
        raw, insert = placed(**how)
        read = read_drawing(raw)
        assert read.cut_mm == pytest.approx(mapped_mm(**how), rel=2e-6)
        assert read.net_area_mm2 == pytest.approx(figures(insert)[1], rel=2e-6)
