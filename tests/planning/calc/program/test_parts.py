"""Which contours make one part, and which make several: nests of which the parts are known."""

from __future__ import annotations

import math
import random

import pytest
import shapely

from planning.calc.program import read_program
from planning.calc.program.common import own_shares
from tests.planning.calc.program.made_nests import nest

SQUARE = "G0 X0 Y0\nM3\nG1 X100\nY100\nX0\nY0\nM5\n"


def contours(text: str):
    return read_program(text.encode()).contours


def cut(*points) -> str:
    words = [f"X{x} Y{y}" for x, y in points]
    return "\n".join(["G0 " + words[0], "M3", "G1", *words[1:], "M5", ""])


def homes(found):
    return [c for c in found if c.outer == c.number and c.area_mm2 is not None]


@pytest.mark.parametrize("seed", range(40))
def test_every_part_of_a_nest_is_counted_with_its_area(seed):
    made = nest(seed)
    found = read_program(made.program()).contours
    parts = homes(found)
    assert sum(c.parts for c in parts) == len(made.areas)
    rings = [shapely.Polygon(ring).area for c in parts for ring in c.faces]
    rings += [c.area_mm2 for c in parts if not c.faces]
    holes = sum(c.area_mm2 for c in found if c.area_mm2 and c.outer != c.number)
    assert sum(rings) - holes == pytest.approx(sum(made.areas), rel=2e-3)
    assert sum(c.net_area_mm2 for c in parts) == pytest.approx(sum(made.areas), rel=2e-3)
    # Nothing is left over: each contour makes parts or is of one.
    assert {c.outer for c in found} == {c.number for c in parts}
    # What all arcs took stays what it was.
    shares = own_shares(found)
    whole = sum(c.length_mm for c in found)
    assert sum(shares[c.number] * c.length_mm for c in found) == pytest.approx(whole)


def test_an_outline_with_three_cuts_across_is_four_parts():
    text = cut((0, 0), (400, 0), (400, 60), (0, 60), (0, 0))
    text += "".join(cut((x, 0), (x, 60)) for x in (100, 200, 310))
    found = contours(text)
    assert [c.parts for c in homes(found)] == [1, 1, 1, 1]
    # The outline is named after the strip that its own edge and the last cut leave.
    assert sorted(c.net_area_mm2 for c in found) == pytest.approx([5400, 6000, 6000, 6600])
    assert [c.inside for c in found] == [None] * 4
    assert {c.number: set(c.edges) for c in found}[2] <= {1, 3}


def test_half_of_a_common_cut_is_carried_by_either_part():
    found = contours(cut((0, 0), (200, 0), (200, 50), (0, 50), (0, 0)) + cut((100, 0), (100, 50)))
    # By hand: each carries 100 + 50 + 100 of the outline and 25 of the cut, 275 of 550 mm.
    shares = own_shares(found)
    carried = [shares[c.number] * c.length_mm for c in found]
    assert carried == pytest.approx([275, 275], rel=1e-6)


def test_the_last_line_of_a_grid_makes_what_no_other_is_named_after():
    text = "".join(cut((x, 0), (x, 90)) for x in (0, 30, 60, 90))
    text += "".join(cut((0, y), (90, y)) for y in (0, 30, 60, 90))
    found = contours(text)
    assert sum(c.parts for c in homes(found)) == 9
    assert sum(c.net_area_mm2 or 0 for c in found) == pytest.approx(8100, rel=1e-6)


@pytest.mark.parametrize("tab", [0.0, 0.2, 2.0, 4.5])
def test_a_disc_held_by_tabs_has_its_true_area(tab):
    # Three arcs of radius 80, each lit 4 mm outside; by hand: pi r2, less what the tabs' chords
    # leave out, r2 (t - sin t) / 2 each.
    r, turn = 80.0, tab / 80.0
    text = ""
    for k in range(3):
        a, b = math.tau * k / 3, math.tau * (k + 1) / 3 - turn
        x, y = r * math.cos(a), r * math.sin(a)
        text += f"G0 X{1.05 * x:.6f} Y{1.05 * y:.6f}\nM3\nG1 X{x:.6f} Y{y:.6f}\n"
        text += f"G3 X{r * math.cos(b):.6f} Y{r * math.sin(b):.6f} I{-x:.6f} J{-y:.6f}\nM5\n"
    first, *rest = contours(text)
    assert [c.outer for c in (first, *rest)] == [1, 1, 1]
    caps = 3 * r * r * (turn - math.sin(turn)) / 2
    assert first.net_area_mm2 == pytest.approx(math.pi * r * r - caps, rel=1e-6)
    assert [c.area_mm2 for c in rest] == [None, None]


def test_a_hole_in_a_tabbed_outline_is_taken_off_and_is_its():
    hole = "G0 X55 Y50\nM3\nG3 I-5 J0\nM5\n"
    # Two paths, two tabs of 2 mm in the middle of the sides x = 0 and x = 100.
    text = hole + cut((0, 49), (0, 0), (100, 0), (100, 49))
    text += cut((100, 51), (100, 100), (0, 100), (0, 51))
    small, first, second = contours(text)
    assert small.outer == 2
    assert second.outer == 2
    assert first.net_area_mm2 == pytest.approx(10_000 - 25 * math.pi)


def test_two_parts_in_one_torch_on_path_are_two():
    # Two squares of 40, the torch burning over 10 mm from one to the other.
    path = [(0, 0), (-40, 0), (-40, 40), (0, 40), (0, 0), (10, 0), (50, 0), (50, 40), (10, 40)]
    [found] = contours(cut(*path, (10, 0)))
    assert (found.parts, found.closed) == (2, True)
    assert found.net_area_mm2 == pytest.approx(3200, rel=1e-4)


def test_an_outline_that_goes_on_across_itself_is_two_parts():
    path = [(0, 0), (100, 0), (100, 60), (0, 60), (0, 0), (40, 0), (40, 60)]
    [found] = contours(cut(*path))
    assert (found.parts, found.net_area_mm2) == (2, pytest.approx(6000, rel=1e-4))


def test_two_cuts_between_parts_enclose_scrap_and_no_part():
    other = "".join(cut((200, 0), (300, 0), (300, 100), (200, 100), (200, 0)))
    found = contours(SQUARE + other + cut((100, 20), (200, 20)) + cut((100, 80), (200, 80)))
    assert [c.parts for c in homes(found)] == [1, 1]
    assert [c.net_area_mm2 for c in homes(found)] == pytest.approx([10_000, 10_000])


def test_cuts_across_a_hole_make_no_parts():
    hole = cut((20, 20), (80, 20), (80, 80), (20, 80), (20, 20))
    found = contours(cut((50, 20), (50, 80)) + hole + SQUARE)
    [part] = [c for c in found if c.outer == c.number]
    assert (part.number, part.parts) == (3, 1)
    assert part.net_area_mm2 == pytest.approx(6400, rel=1e-5)


def test_a_slot_is_of_the_part_it_lies_in():
    found = contours(cut((20, 20), (60, 40)) + SQUARE)
    assert [c.outer for c in found] == [2, 2]
    assert found[1].net_area_mm2 == pytest.approx(10_000)


def test_open_shapes_are_no_outline():
    """Hooks, U's, zigzags and letters: none of them is joined into a part by itself."""
    rng = random.Random(5)
    for _ in range(100):
        at, points = (rng.uniform(0, 900), rng.uniform(0, 900)), [(0.0, 0.0)]
        turn = rng.uniform(0, math.tau)
        for _ in range(rng.randint(1, 5)):
            turn += rng.choice([-1, 1]) * rng.uniform(0.2, 1.2)
            step = rng.uniform(20, 80)
            x, y = points[-1]
            points.append((x + step * math.cos(turn), y + step * math.sin(turn)))
        if math.dist(points[0], points[-1]) < 15:
            continue
        line = shapely.LineString(points)
        if not line.is_simple:
            continue
        moved = [(round(at[0] + x, 3), round(at[1] + y, 3)) for x, y in points]
        [found] = contours(cut(*moved))
        assert (found.closed, found.area_mm2, found.parts) == (False, None, 1)
