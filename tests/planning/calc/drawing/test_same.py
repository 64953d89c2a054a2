"""What must not matter to a drawing's figures: order, direction, place, and where it is split."""

from __future__ import annotations

import random
from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from planning.calc.drawing import read_drawing
from tests.planning.calc.drawing.made import dxf

PIECES = [
    ("line", (0, 0), (60, 0)), ("line", (60, 0), (60, 40)), ("line", (60, 40), (0, 40)),
    ("arc", (0, 20), 20, 90, 270), ("circle", (20, 20), 8), ("ellipse", (42, 20), (9, 3), 0.5),
    ("spline", [(80, 0), (85, 25), (105, 30), (120, 10)]), ("line", (120, 10), (80, 0)),
]  # fmt: skip


def put(space, pieces, flip=lambda i: False) -> None:
    for i, (kind, *rest) in enumerate(pieces):
        if kind == "line":
            space.add_line(*(reversed(rest) if flip(i) else rest))
        elif kind == "arc":
            space.add_arc(*rest)
        elif kind == "circle":
            space.add_circle(*rest)
        elif kind == "ellipse":
            space.add_ellipse(*rest)
        else:
            space.add_open_spline(rest[0][::-1] if flip(i) else rest[0], degree=3)


def figures(drawing):
    return [
        (each.kind, round(each.length_mm, 6), round(each.area_mm2 or 0, 5),
         round(each.net_area_mm2 or 0, 5), each.inside)
        for each in drawing.contours
    ]  # fmt: skip


@settings(max_examples=15, deadline=None)
@given(st.randoms(use_true_random=False))
def test_order_and_direction_of_entities_change_nothing(rng: random.Random):
    plain = read_drawing(dxf(lambda s: put(s, PIECES)))
    order = rng.sample(PIECES, len(PIECES))
    flips = [rng.random() < 0.5 for _ in PIECES]
    mixed = read_drawing(dxf(lambda s: put(s, order, lambda i: flips[i])))
    assert figures(mixed) == figures(plain)
    assert {each.kind for each in plain.contours} == {"outer", "hole"}


@settings(max_examples=15, deadline=None)
@given(st.floats(0, 360), st.floats(-1000, 1000), st.floats(-1000, 1000), st.booleans())
def test_a_moved_turned_or_mirrored_drawing_has_the_same_figures(angle, x, y, mirror):
    def draw(space):
        put(space.doc.blocks.new("ALL"), PIECES)
        more = {"rotation": angle, "xscale": -1.0 if mirror else 1.0}
        space.add_blockref("ALL", (x, y), dxfattribs=more)

    plain = read_drawing(dxf(lambda s: put(s, PIECES)))
    moved = read_drawing(dxf(draw))
    assert moved.cut_mm == pytest.approx(plain.cut_mm, rel=1e-9)
    assert moved.net_area_mm2 == pytest.approx(plain.net_area_mm2, rel=1e-8)
    assert moved.pierces == plain.pierces


@settings(max_examples=15, deadline=None)
@given(st.lists(st.floats(0.02, 0.98), min_size=1, max_size=4, unique=True))
def test_splitting_an_entity_changes_nothing(shares):
    def draw(space):
        put(space, PIECES[1:])
        cuts = [0.0, *sorted(shares), 1.0]
        for low, high in pairwise(cuts):
            space.add_line((60 * low, 0), (60 * high, 0))

    plain = read_drawing(dxf(lambda s: put(s, PIECES)))
    split = read_drawing(dxf(draw))
    assert split.cut_mm == pytest.approx(plain.cut_mm, rel=1e-12)
    assert split.net_area_mm2 == pytest.approx(plain.net_area_mm2, rel=1e-12)
    assert split.pierces == plain.pierces
