"""Motion: closed forms of constant acceleration, and a slow stepper written apart from the code."""

from __future__ import annotations

import itertools
import math
import random

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from planning.calc.motion import DEFAULT_TOLERANCE_MM, TableMotion, move_times, trapezoid_s
from planning.calc.program import read_program


def times(text: str, speed: float, accel: float, rapid: float = 60000, **options) -> np.ndarray:
    moves = read_program(text.encode()).moves
    asked = np.where(moves.torch, speed, rapid)
    return move_times(moves, asked, TableMotion(accel, rapid, **options))


# L, v, a -> t, from L/v + v/a and 2 sqrt(L/a) by hand.
CLOSED_FORMS = [
    (1, 0.5, 1, 2.5),
    (100, 50, 100, 2.5),
    (25, 50, 100, 1.0),
    (10, 50, 100, 0.632455532033676),
    (1000, 100, 500, 10.2),
    (5, 100, 500, 0.2),
    (0.1, 0.2, 1, 0.7),
]


@pytest.mark.parametrize(("length", "speed", "accel", "seconds"), CLOSED_FORMS)
def test_one_move_from_rest_to_rest(length, speed, accel, seconds):
    assert trapezoid_s(length, speed, accel) == pytest.approx(seconds, abs=1e-9)
    found = times(f"M3\nG1 X{length}\nM5", speed * 60, accel)
    assert found.sum() == pytest.approx(seconds, abs=1e-9)


def test_no_jump_where_the_speed_is_just_reached():
    at = 50**2 / 100
    below, above = trapezoid_s(at * (1 - 1e-12), 50, 100), trapezoid_s(at * (1 + 1e-12), 50, 100)
    assert below == pytest.approx(above, abs=1e-9)


def test_exact_stop_is_a_trapezoid_a_block():
    # By hand: 4 blocks of 25 mm at 50 mm/s and 100 mm/s2, 1 s each; also on a straight line.
    text = "{}M3\nG1 X25\nX50\nX50 Y25\nX25 Y25\nM5"
    assert times(text.format("G61\n"), 3000, 100).tolist() == pytest.approx([1] * 4, abs=1e-9)
    assert times(text.format("G61.1\n"), 3000, 100).tolist() == pytest.approx([1] * 4, abs=1e-9)
    stop = times(text.format(""), 3000, 100, corner="stop")
    assert stop.tolist() == pytest.approx([1] * 4, abs=1e-9)


def test_blending_runs_through_a_straight_joint():
    assert times("M3\nG1 X40\nX100\nM5", 3000, 100).sum() == pytest.approx(2.5, abs=1e-9)


def test_square_corner_by_hand():
    # phi = 90 deg, s = cos 45 = 0.70711; R = 0.1 s / (1 - s) = 0.241421; v^2 = 1000 R = 241.42.
    # Each side of 100 mm: 100 mm/s is reached (v^2 / 2a = 5 mm). From rest 0.1 s and 5 mm, to the
    # corner: (100 - 15.5377) / 1000 = 0.0844623 s over (10000 - 241.42) / 2000 = 4.87929 mm, level
    # 90.12071 mm in 0.9012071 s; the other side the same in reverse.
    corner = math.sqrt(1000 * 0.1 * math.sqrt(0.5) / (1 - math.sqrt(0.5)))
    side = 0.1 + (100 - corner) / 1000 + (100 - 5 - (1e4 - corner**2) / 2000) / 100
    found = times("M3\nG1 X100\nY100\nM5", 6000, 1000, tolerance_mm=0.1)
    assert found.tolist() == pytest.approx([side, side], abs=1e-9)
    assert side == pytest.approx(1.0856694, abs=1e-6)


def test_short_side_bounds_the_rounding():
    # A turn of 20 deg between sides of 0.2 mm: by tolerance 0.5 s/(1-s) = 32.4 mm, by length
    # 0.1 / tan 10 deg = 0.567128 mm, so v^2 = a 0.567128. At 1000 mm/s2 that is 567 mm2/s2, more
    # than 0.2 mm can reach from rest (400): so 2 x 0.2 mm count as one straight run of 0.4 mm.
    a = math.radians(20)
    text = f"M3\nG1 X0.2\nX{0.2 + 0.2 * math.cos(a):.12f} Y{0.2 * math.sin(a):.12f}\nM5"
    found = times(text, 60000, 1000, tolerance_mm=0.5).sum()
    assert found == pytest.approx(2 * math.sqrt(0.4 / 1000), rel=1e-9)
    # With a turn of 60 deg the length allows 0.1 / tan 30 = 0.173205 mm: v = sqrt(173.2) = 13.1607.
    # From rest 0.0866025 mm are needed for that; the rest of each side goes up and down again.
    a = math.radians(60)
    text = f"M3\nG1 X0.2\nX{0.2 + 0.2 * math.cos(a):.12f} Y{0.2 * math.sin(a):.12f}\nM5"
    v = math.sqrt(1000 * 0.1 / math.tan(math.radians(30)))
    peak = math.sqrt((v * v + 2 * 1000 * 0.2) / 2)
    assert times(text, 60000, 1000, tolerance_mm=0.5).sum() == pytest.approx(
        2 * (2 * peak - v) / 1000, rel=1e-9
    )


def test_arcs_keep_the_centripetal_limit():
    # By hand: R 10 at 1000 mm/s2 allows 100 mm/s whatever is asked; a full circle of 62.83185 mm.
    found = times("G0 X10\nM3\nG3 X10 Y0 I-10 J0\nM5", 60000, 1000)
    assert found[1] == pytest.approx(trapezoid_s(math.tau * 10, 100, 1000), abs=1e-9)


@pytest.mark.parametrize(("turn", "side"), [("G3", 1), ("G2", -1)])
def test_a_line_runs_on_into_an_arc_that_touches_it(turn, side):
    """100 mm along X, half a circle of R 90 that starts and ends along X, 100 mm back. At 100 mm/s
    and 1000 mm/s2 the arc allows 300 mm/s, so it is one run of L = 200 + 90 pi: L/v + v/a."""
    text = f"M3\nG1 X100\n{turn} X100 Y{180 * side} I0 J{90 * side}\nG1 X0\nM5"
    found = times(text, 6000, 1000).sum()
    assert found == pytest.approx((200 + 90 * math.pi) / 100 + 0.1, abs=1e-9)


@pytest.mark.parametrize("turn", ["G3", "G2"])
def test_an_arc_that_leaves_the_line_at_a_right_angle_is_a_corner(turn):
    """The line ends along X, the half circle of R 90 begins along Y and ends along -Y: the same
    corner as between two lines, v^2 = a d s / (1 - s) at 45 degrees, twice (see the square
    corner by hand). From that speed to 100 mm/s takes (100 - v)/a over (100^2 - v^2)/(2 a)."""
    v = math.sqrt(1000 * 0.1 * math.sqrt(0.5) / (1 - math.sqrt(0.5)))
    text = f"M3\nG1 X100\n{turn} X{100 + 180} Y0 I90 J0\nG1 X380\nM5"
    if turn == "G3":
        text = f"M3\nG1 X100\nG3 X{100 - 180} Y0 I-90 J0\nG1 X-180\nM5"
    slowing_s, slowing_mm = (100 - v) / 1000, (1e4 - v * v) / 2000
    line = 0.1 + slowing_s + (100 - 5 - slowing_mm) / 100
    arc = 2 * slowing_s + (90 * math.pi - 2 * slowing_mm) / 100
    found = times(text, 6000, 1000, tolerance_mm=0.1)
    assert found.tolist() == pytest.approx([line, arc, line], abs=1e-9)


@pytest.mark.parametrize("chords", [180, 720])
def test_circle_in_chords_takes_as_long_as_the_arc(chords):
    # At the joints v^2 = a R, as on the arc; up to the middle of a chord of length L it may rise by
    # a L, which shortens the time by L / 4R = 2 pi / 4n at most.
    within = math.tau / 4 / chords
    arc = times("G0 X50\nM3\nG3 X50 Y0 I-50 J0\nM5", 20000, 800)[1:].sum()
    points = "\n".join(
        f"X{50 * math.cos(k * math.tau / chords):.9f} Y{50 * math.sin(k * math.tau / chords):.9f}"
        for k in range(1, chords + 1)
    )
    by_chords = times(f"G0 X50\nM3\nG1\n{points}\nM5", 20000, 800)[1:].sum()
    assert by_chords == pytest.approx(arc, rel=within)


def test_a_move_of_no_length_keeps_its_stop():
    through = times("M3\nG1 X50\nX50\nX100\nM5", 3000, 100).sum()
    assert through == pytest.approx(2.5, abs=1e-9)
    stopped = times("M3\nG1 X50\nG61 X50\nG64 X100\nM5", 3000, 100).sum()
    assert stopped == pytest.approx(3.0, abs=1e-9)
    lone_z = times("M3\nG1 X50\nZ1\nX100\nM5", 3000, 100).sum()
    assert lone_z == pytest.approx(3.0, abs=1e-9)


def test_the_tolerance_of_g64_holds_where_none_is_given():
    text = "G64 P{}\nM3\nG1 X100\nY100\nM5"
    by_program = times(text.format("0.5"), 6000, 1000)
    assert by_program.tolist() == times(text.format("9"), 6000, 1000, tolerance_mm=0.5).tolist()
    plain = times("M3\nG1 X100\nY100\nM5", 6000, 1000)
    given_default = times(text.format("9"), 6000, 1000, tolerance_mm=DEFAULT_TOLERANCE_MM)
    assert plain.tolist() == given_default.tolist()
    assert by_program.sum() < plain.sum()


def test_nothing_to_do_takes_no_time():
    assert times("M3\nM5", 100, 100).tolist() == []
    assert times("M3\nG1 X0 Y0\nM5", 100, 100).tolist() == [0]


@pytest.mark.parametrize("figures", [(0, 1), (1, 0), (-1, 1), (math.nan, 1), (1, math.inf)])
def test_figures_no_table_has_are_refused(figures):
    with pytest.raises(ValueError, match="above zero"):
        TableMotion(*figures)
    with pytest.raises(ValueError, match="below zero"):
        TableMotion(1, 1, tolerance_mm=-1)


def stepped_s(points, speed, accel, tolerance):
    """Time along a polyline by small steps of time: at each, speed up unless a corner or the end
    ahead could then not be met. The corner rule is worked here from the turn by the law of cosines
    and single sides (the polylines drawn have no straight joints)."""
    sides = [math.dist(a, b) for a, b in itertools.pairwise(points)]
    limits, at = [], 0.0
    for i in range(len(sides) - 1):
        at += sides[i]
        across = math.dist(points[i], points[i + 2])
        inner = (sides[i] ** 2 + sides[i + 1] ** 2 - across**2) / (2 * sides[i] * sides[i + 1])
        half_inner = math.acos(max(-1.0, min(1.0, inner))) / 2
        # A circle of radius R in the corner: its middle is R / sin(half) from the corner.
        by_tolerance = tolerance / (1 / math.sin(half_inner) - 1)
        by_length = min(sides[i], sides[i + 1]) / 2 * math.tan(half_inner)
        limits.append((at, accel * min(by_tolerance, by_length)))
    limits.append((sum(sides), 0.0))
    dt, t, s, v = 2e-5, 0.0, 0.0, 0.0
    ahead = 0
    while s < limits[-1][0] - 1e-6 and t < 100:
        while limits[ahead][0] <= s:
            ahead += 1
        faster = min(v + accel * dt, speed)
        step = (v + faster) / 2 * dt
        for place, most in limits[ahead:]:
            room = max(place - s - step, 0.0)
            faster = min(faster, math.sqrt(most + 2 * accel * room))
        s += (v + faster) / 2 * dt if faster > 0 or v > 0 else 1e-9
        v = faster
        t += dt
        if v < 1e-3 and limits[-1][0] - s < 1e-4:
            break
    return t


@pytest.mark.parametrize("seed", range(6))
def test_a_slow_stepper_agrees_within_a_thousandth(seed):
    rng = random.Random(seed)
    points, heading = [(0.0, 0.0)], 0.0
    for _ in range(rng.randint(3, 9)):
        heading += rng.choice([-1, 1]) * rng.uniform(0.05, 2.2)
        length = rng.choice([rng.uniform(0.5, 5), rng.uniform(5, 80)])
        x, y = points[-1]
        points.append((x + length * math.cos(heading), y + length * math.sin(heading)))
    speed, accel, tolerance = rng.uniform(20, 150), rng.uniform(200, 1500), rng.uniform(0.02, 0.5)
    lines = "\n".join(f"X{x:.9f} Y{y:.9f}" for x, y in points[1:])
    found = times(f"M3\nG1\n{lines}\nM5", speed * 60, accel, tolerance_mm=tolerance).sum()
    assert found == pytest.approx(stepped_s(points, speed, accel, tolerance), rel=1e-3)


coordinate = st.integers(-2000, 2000).map(lambda n: n / 8)
paths = st.lists(st.tuples(coordinate, coordinate), min_size=1, max_size=12)


@settings(max_examples=200)
@given(paths, st.lists(st.floats(0.01, 0.99), min_size=12, max_size=12), st.data())
def test_splitting_lines_changes_no_time_when_blending(path, shares, data):
    tolerance = data.draw(st.sampled_from([0.0, 0.05, 0.5]))
    whole, split, last = [], [], (0.0, 0.0)
    for (x, y), share in zip(path, shares, strict=False):
        if math.dist(last, (x, y)) < 0.1:
            continue
        whole.append(f"X{x} Y{y}")
        mx, my = last[0] + share * (x - last[0]), last[1] + share * (y - last[1])
        split += [f"X{mx:.14f} Y{my:.14f}", f"X{x} Y{y}"]
        last = (x, y)
    one = times("M3\nG1\n" + "\n".join(whole) + "\nM5", 4000, 700, tolerance_mm=tolerance).sum()
    two = times("M3\nG1\n" + "\n".join(split) + "\nM5", 4000, 700, tolerance_mm=tolerance).sum()
    assert two == pytest.approx(one, rel=1e-9, abs=1e-12)


@given(paths, st.floats(100, 20000), st.floats(50, 5000), st.sampled_from(["stop", "blend"]))
def test_never_faster_than_without_acceleration(path, speed, accel, corner):
    text = "M3\nG1\n" + "\n".join(f"X{x} Y{y}" for x, y in path) + "\nM5"
    found = times(text, speed, accel, corner=corner)
    bound = read_program(text.encode()).moves.length_mm / (speed / 60)
    assert (found >= bound * (1 - 1e-9)).all()
    blended = times(text, speed, accel, corner="blend").sum()
    assert blended <= times(text, speed, accel, corner="stop").sum() * (1 + 1e-9)


@pytest.mark.parametrize("accel", [50, 800, 20000])
def test_splitting_an_arc_changes_no_time_when_blending(accel):
    # A rounded side between two square corners: whole, and in three pieces of 30 degrees.
    def end(degrees: float) -> str:
        turn = math.radians(degrees)
        return f"X{20 + 20 * math.sin(turn):.14f} Y{20 - 20 * math.cos(turn):.14f} R20"

    whole = times(f"G0 Y-5\nM3\nG1 Y0\nX20\nG3 {end(90)}\nG1 X30\nM5", 9000, accel)
    pieces = f"{end(30)}\n{end(60)}\n{end(90)}"
    split = times(f"G0 Y-5\nM3\nG1 Y0\nX20\nG3 {pieces}\nG1 X30\nM5", 9000, accel)
    assert split.sum() == pytest.approx(whole.sum(), rel=1e-9)
