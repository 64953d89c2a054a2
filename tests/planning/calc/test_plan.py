from __future__ import annotations

import math
from pathlib import Path

import pytest

from planning.calc.motion import TableMotion
from planning.calc.plan import Cutting, plan_program
from planning.calc.program import Note, ProgramError, read_program

PROGRAMS = Path(__file__).parents[3] / "fixtures" / "programs"
TABLE = TableMotion(accel_mm_s2=100, rapid_mm_min=6000)


def plan(text: str, cutting: Cutting, motion: TableMotion = TABLE):
    return plan_program(read_program(text.encode()), motion, cutting)


def test_a_plan_by_hand():
    # Two cuts of 100 mm at 50 mm/s: 100/50 + 50/100 = 2.5 s each. Travel 30-40-50: 2 sqrt(50/100)
    # = 1.4142 s (100 mm/s would take 100 mm), back 25: 2 sqrt(25/100) = 1 s, with a dwell of 0.5 s.
    found = plan(
        "G0 X30 Y40\nM3\nG4 P0.3\nG1 X130\nM5\nG4 P0.5\nG0 Y65\nM3\nG1 X30\nM5\nM30",
        Cutting(3000, pierce_delay_s=0.4, touch_off_s=2),
    )
    assert found.cut_mm == pytest.approx(200)
    assert found.travel_mm == pytest.approx(75)
    assert found.pierces == 2
    assert found.cut_s == pytest.approx(5)
    assert found.pierce_s == pytest.approx(2 * 0.4 + 0.3)
    assert found.travel_s == pytest.approx(math.sqrt(2) + 1 + 0.5)
    assert found.touch_off_s == pytest.approx(4)
    assert found.arc_on_s == pytest.approx(6.1)
    assert found.total_s == pytest.approx(6.1 + math.sqrt(2) + 1.5 + 4)
    assert found.arcs == pytest.approx((3.2, 2.9))
    assert found.extents_mm == pytest.approx((30, 40, 130, 65))
    assert [c.travel_s for c in found.contours] == pytest.approx([math.sqrt(2), 1.5])
    assert [c.travel_mm for c in found.contours] == pytest.approx([50, 25])
    assert [c.line for c in found.contours] == [2, 8]
    assert found.notes == ()


@pytest.mark.parametrize("name", sorted(p.name for p in PROGRAMS.glob("*.nc")))
def test_the_parts_add_up(name):
    program = read_program((PROGRAMS / name).read_bytes())
    found = plan_program(program, TABLE, Cutting(1800, 0.5, 1.2))
    assert found.arc_on_s == pytest.approx(found.cut_s + found.pierce_s, abs=1e-9)
    assert sum(found.arcs) == pytest.approx(found.arc_on_s, abs=1e-9)
    parts = found.arc_on_s + found.travel_s + found.touch_off_s
    assert found.total_s == pytest.approx(parts, abs=1e-9)
    assert found.cut_mm + found.travel_mm == pytest.approx(program.moves.length_mm.sum())
    assert sum(c.cut_mm for c in found.contours) == pytest.approx(found.cut_mm)
    assert sum(c.length_mm for c in program.contours) == pytest.approx(found.cut_mm)


def test_the_programs_own_feed_counts_only_where_no_speed_is_given():
    text = "M3\nG1 X100 F3000\nF1500 X0\nM5"
    by_feed = plan(text, Cutting(None), TableMotion(100, 6000, corner="stop"))
    # 100 mm at 50 mm/s and at 25 mm/s: 2.5 s and 4 + 0.25 s.
    assert by_feed.cut_s == pytest.approx(6.75)
    given = plan(text, Cutting(3000), TableMotion(100, 6000, corner="stop"))
    assert given.cut_s == pytest.approx(5)


def test_a_cut_without_any_speed_is_refused_where_it_stands():
    with pytest.raises(ProgramError, match="no cutting speed") as caught:
        plan("G0 X1\nM3\nG1 X5\nM5", Cutting(None))
    assert caught.value.line == 3


def test_inches_in_the_program_against_millimetres_are_caught():
    found = plan("G21\nM3\nG1 X5 F100\nM5", Cutting(2540))
    assert [note.line for note in found.notes] == [3]
    assert "25.4" in found.notes[0].text


def test_moves_at_odds_with_the_torch_are_noted():
    found = plan("G1 X5\nM3\nG0 X9\nM5", Cutting(1000))
    assert [note.line for note in found.notes] == [1, 3]


def test_nothing_cut_has_no_extents():
    found = plan("G0 X5\nM30", Cutting(1000))
    assert found.extents_mm is None
    assert found.arcs == ()
    assert found.notes == (Note(2, "nothing is cut"),)
    burnt = plan("G0 X5\nM3\nM5", Cutting(1000, 0.5))
    assert burnt.arcs == (0.5,)


@pytest.mark.parametrize("figures", [(0,), (-1,), (math.nan,), (1, -1), (1, 0, math.inf)])
def test_figures_that_cannot_be_are_refused(figures):
    with pytest.raises(ValueError, match="zero"):
        Cutting(*figures)
