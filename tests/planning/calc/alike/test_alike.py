"""Shapes known again. What was done to a shape is known here, so undoing it and asking shapely for
Hausdorff's distance judges the code's own laying."""

from __future__ import annotations

import math
import tracemalloc

import pytest
import shapely
from shapely import affinity

from planning.bench.alike import rings_of, scored
from planning.calc.alike import judge, outline_of, tolerance_mm

PLATE = shapely.Polygon([(0, 0), (200, 0), (200, 60), (80, 60), (80, 120), (0, 120)])


def drilled(area, *holes):
    for x, y, diameter in holes:
        area = area.difference(shapely.Point(x, y).buffer(diameter / 2, quad_segs=24))
    return area


def outline(area, step=0.001, lines=(), marked=False):
    return outline_of(rings_of(area), lines, step_mm=step, marked=marked)


def turned(area, mirror=False):
    area = affinity.scale(area, -1, 1, origin=(0, 0)) if mirror else area
    return affinity.translate(affinity.rotate(area, 131, origin=(0, 0)), 412.5, -77)


PART = drilled(PLATE, (30, 30, 12), (170, 30, 12), (40, 90, 20))


def test_random_shapes_are_known_again_and_near_ones_are_not():
    """42 pairs: the bench's thousands in small."""
    answer = scored(42)
    assert (answer["false"], answer["missed"]) == (0, 0)
    assert answer["changed"] > 15
    assert answer["offered"] / answer["changed"] > 0.85


@pytest.mark.parametrize("mirror", [False, True])
def test_a_part_turned_moved_and_turned_over_is_told(mirror):
    found = judge(outline(PART), outline(turned(PART, mirror)))
    assert (found.kind, found.mirrored) == ("mirrored" if mirror else "same", mirror)


def test_a_perforated_plate_takes_little_memory_and_one_moved_hole_is_told():
    """225 holes of 16 edges; all against all it is 60 MB, and of 2,500 holes gigabytes."""
    plate = shapely.box(0, 0, 450, 450)
    spots = [(15 + 30 * (k % 15), 15 + 30 * (k // 15)) for k in range(225)]

    def perforated(spots):
        holes = [shapely.Point(spot).buffer(5, quad_segs=4).exterior.coords for spot in spots]
        return outline(turned(shapely.Polygon(plate.exterior.coords, holes)))

    one, other = perforated(spots), perforated([*spots[:-1], (438, 435)])
    tracemalloc.start()
    try:
        assert judge(one, perforated(spots)).kind == "same"
        found = judge(one, other)
        peak = tracemalloc.get_traced_memory()[1]
    finally:
        tracemalloc.stop()
    assert [change.what for change in found.changes] == ["moved"]
    assert found.changes[0].now_mm == pytest.approx(3.0)
    assert peak < 20_000_000


def test_a_larger_hole_is_near_and_says_which():
    wider = drilled(PLATE, (30, 30, 12.5), (170, 30, 12), (40, 90, 20))
    found = judge(outline(PART), outline(turned(wider)))
    assert found.kind == "near"
    [change] = found.changes
    assert change.what == "hole"
    assert (change.was_mm, change.now_mm) == (
        pytest.approx(12, abs=0.03),
        pytest.approx(12.5, abs=0.03),
    )


def test_a_hole_more_one_less_and_one_moved_are_told():
    def changes(*holes):
        return [
            c.what for c in judge(outline(PART), outline(turned(drilled(PLATE, *holes)))).changes
        ]

    assert changes((30, 30, 12), (170, 30, 12)) == ["hole_gone"]
    assert changes((30, 30, 12), (170, 30, 12), (40, 90, 20), (120, 30, 8)) == ["hole_new"]
    assert changes((30, 30, 12), (170, 31, 12), (40, 90, 20)) == ["moved"]


@pytest.mark.parametrize("joint", ["round", "mitre"])
def test_another_kerf_is_the_same_part(joint):
    """Holes shrink by what the outline grows."""
    path = PART.buffer(0.8, join_style=joint)
    found = judge(outline(PART), outline(turned(path)))
    assert found.kind == "same"
    assert found.offset_mm == pytest.approx(0.8, abs=0.02)


def test_a_plate_without_holes_is_the_same_by_the_charts_kerf_alone():
    larger = outline(PLATE.buffer(0.8, join_style="mitre"))
    assert judge(outline(PLATE), larger).kind == "near"
    assert judge(outline(PLATE), larger, [0.8]).kind == "same"
    assert judge(outline(PLATE), larger, [-0.8]).kind == "near"


def test_a_hole_off_the_kerf_is_seen_through_it():
    """Path and drawing of another revision: its hole is 1 mm larger than the kerf explains."""
    path = drilled(PLATE, (30, 30, 13), (170, 30, 12), (40, 90, 20)).buffer(0.8, join_style="mitre")
    found = judge(outline(PART), outline(path), [0.8])
    assert [change.what for change in found.changes] == ["hole"]
    assert found.changes[0].now_mm == pytest.approx(13, abs=0.05)


def test_a_ring_of_holes_in_a_disc_is_found_by_its_holes():
    disc = shapely.Point(0, 0).buffer(80, quad_segs=60)
    at = [(55 * math.cos(a), 55 * math.sin(a), 9) for a in (0, 1, 2.5, 4)]
    odd = [(55 * math.cos(a), 55 * math.sin(a), 9) for a in (0, 1, 2.6, 4)]
    one = outline(drilled(disc, *at))
    assert judge(one, outline(turned(drilled(disc, *at)))).kind == "same"
    assert judge(one, outline(turned(drilled(disc, *at), mirror=True))).kind == "mirrored"
    assert judge(one, outline(turned(drilled(disc, *odd)))).kind == "near"


def test_other_parts_are_neither():
    assert judge(outline(PART), outline(shapely.box(0, 0, 200, 120))) is None
    assert judge(outline(PLATE), outline(shapely.box(0, 0, 200, 108))) is None


def test_the_programs_resolution_sets_how_close():
    assert tolerance_mm(0.001) == 0.05
    assert tolerance_mm(0.001, 0.0254) == pytest.approx(0.0762)
    assert tolerance_mm(0.1) == 0.15


@pytest.mark.parametrize("rings", [[], [[(0, 0), (9, 0)]], [[(0, 0), (9, 9), (9, 0), (0, 9)]]])
def test_what_encloses_no_area_is_not_a_part(rings):
    assert outline_of(rings) is None
