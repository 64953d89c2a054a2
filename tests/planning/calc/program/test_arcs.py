"""Arc lengths worked out apart from this project with reference libraries, to the digits given.
Rules: NISTIR 6556 section 3.5.3."""

from __future__ import annotations

import itertools
import math
import random
import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from planning.calc.program import Dialect, ProgramError, read_program
from planning.calc.program.arcs import ArcError, from_centre, from_radius


@pytest.mark.parametrize(
    ("start", "end", "radius", "clockwise", "centre", "sweep_deg", "length"),
    [
        ((0, 0), (10, 15), 20, True, (19.855069, -2.403379), 53.576426, 18.701701),
        ((0, 0), (10, 15), -20, True, (-9.855069, 17.403380), 306.423574, 106.962005),
        ((0, 0), (10, 0), 5, True, (5, 0), 180, 15.707963),
        ((1, 1), (2, 2), 1, False, (1, 2), 90, 1.570796),
    ],
)
def test_arcs_by_radius(start, end, radius, clockwise, centre, sweep_deg, length):
    cx, cy, sweep, r = from_radius(*start, *end, radius, clockwise=clockwise, tolerance_mm=0.002)
    assert (cx, cy) == pytest.approx(centre, abs=1e-6)
    assert math.degrees(abs(sweep)) == pytest.approx(sweep_deg, abs=1e-6)
    assert (sweep < 0) == clockwise
    assert abs(sweep) * r == pytest.approx(length, abs=1e-6)


def test_full_circle_by_centre():
    cx, cy, sweep, r = from_centre(0, 0, 0, 0, 5, 0, clockwise=True, tolerance_mm=0.002)
    assert (cx, cy, r) == (5, 0, 5)
    assert abs(sweep) * r == pytest.approx(31.415927, abs=1e-6)


def test_radii_may_differ_by_the_tolerance_and_no_more():
    # NISTIR 6556: 0.002 mm.
    assert from_centre(0, 0, 10.002, 0, 5, 0, clockwise=True, tolerance_mm=0.002)[3] == 5.001
    with pytest.raises(ArcError, match="radius"):
        from_centre(0, 0, 10.0021, 0, 5, 0, clockwise=True, tolerance_mm=0.002)


@pytest.mark.parametrize(
    ("end", "radius", "said"), [((0, 0), 5, "full circle"), ((20, 0), 5, "too small")]
)
def test_arcs_by_radius_that_do_not_exist(end, radius, said):
    with pytest.raises(ArcError, match=said):
        from_radius(0, 0, *end, radius, clockwise=True, tolerance_mm=0.002)


places = st.floats(-100, 100)


@given(places, places, places, places, st.floats(1, 500), st.booleans(), st.booleans())
def test_centre_and_radius_forms_describe_the_same_arc(x0, y0, x1, y1, extra, clockwise, long):
    chord = math.hypot(x1 - x0, y1 - y0)
    if chord < 0.1:
        return
    radius = (chord / 2 + extra) * (-1 if long else 1)
    cx, cy, sweep, r = from_radius(x0, y0, x1, y1, radius, clockwise=clockwise, tolerance_mm=0.002)
    assert math.hypot(x0 - cx, y0 - cy) == pytest.approx(r, rel=1e-9)
    assert math.hypot(x1 - cx, y1 - cy) == pytest.approx(r, rel=1e-9)
    again = from_centre(x0, y0, x1, y1, cx, cy, clockwise=clockwise, tolerance_mm=0.002)
    assert again[2] == pytest.approx(sweep, rel=1e-6)


def ring(radius, unit, decimals, rng):
    """Four arcs round a circle, places and centres rounded to the decimals."""

    def w(mm):
        return f"{mm / (25.4 if unit == 'G20' else 1):.{decimals}f}"

    at = [(rng.uniform(0, 9) + 60, rng.uniform(0, 9) + 60)]
    cx, cy = at[0][0] - radius, at[0][1]
    turns = [0, *sorted(rng.uniform(0.3, 6) for _ in range(3))]
    text = [unit, f"G0 X{w(at[0][0])} Y{w(at[0][1])}"]
    for turn, onward in itertools.pairwise(turns):
        x0, y0 = cx + radius * math.cos(turn), cy + radius * math.sin(turn)
        x1, y1 = cx + radius * math.cos(onward), cy + radius * math.sin(onward)
        text.append(f"G3 X{w(x1)} Y{w(y1)} I{w(cx - x0)} J{w(cy - y0)}")
    return "\n".join(text).encode(), radius * turns[-1]


@pytest.mark.parametrize(("unit", "decimals"), [("G21", 2), ("G21", 3), ("G20", 3), ("G20", 4)])
def test_arcs_rounded_to_the_programs_own_decimals_are_read(unit, decimals):
    rng = random.Random(20_261)
    for _ in range(60):
        text, length = ring(rng.uniform(5, 50), unit, decimals, rng)
        moves = read_program(text).moves
        step = 10.0**-decimals * (25.4 if unit == "G20" else 1)
        assert moves.length_mm[1:].sum() == pytest.approx(length, abs=12 * step)


def test_an_arc_that_decimals_explain_is_noted_and_keeps_the_mean_radius():
    # Radii 5 and 5.02: 2.83 steps of 0.01 allow 0.0283 mm.
    program = read_program(b"G0 X0.00 Y0.00\nG2 X10.02 Y0.00 I5.00 J0.00")
    assert program.moves.length_mm[1] == pytest.approx(math.pi * 5.01)
    assert [note.line for note in program.notes] == [2]
    assert "radii" in program.notes[0].text


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("G0 X0.00\nG2 X10.03 Y0.00 I5.00 J0.00", "0.0300 mm apart; they may differ by 0.0283"),
        ("G0 X0.000\nG2 X10.020 Y0.000 I5.000 J0.000", "0.0200 mm apart; they may differ by 0.002"),
        # However coarse the digits, a tenth of a millimetre is the most.
        ("G0 X0\nG2 X11 Y0 I5 J0", "1.0000 mm apart; they may differ by 0.1 mm"),
    ],
)
def test_beyond_what_decimals_explain_an_arc_is_refused_with_by_how_much(text, said):
    with pytest.raises(ProgramError, match=re.escape(said)) as caught:
        read_program(text.encode())
    assert caught.value.line == 2


def test_a_refusal_says_where_the_other_kind_of_centres_would_do():
    text = b"G0 X10 Y0\nG3 X0 Y10 I0 J0.5\n"
    absolute = b"G0 X30 Y20\nG3 X20 Y30 I20 J20\n"
    with pytest.raises(ProgramError, match="from zero they agree: that is a setting of the table"):
        read_program(absolute)
    assert read_program(absolute, Dialect(arc_centres_absolute=True)).moves.sweep_rad[1] > 0
    with pytest.raises(ProgramError) as caught:
        read_program(text)
    assert "setting" not in caught.value.message
