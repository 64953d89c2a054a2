"""Limits of each axis, smooth changes of speed, blocks a second: against slow steppers."""

from __future__ import annotations

import math

import numpy as np
import pytest

from planning.calc.axes import in_pieces
from planning.calc.motion import TableMotion, move_times
from planning.calc.plan import Cutting, plan_program
from planning.calc.program import read_program


def timed(text: str, speed: float, accel: float = 1000.0, **limits) -> np.ndarray:
    moves = read_program(text.encode()).moves
    return move_times(moves, np.full(len(moves), speed), TableMotion(accel, 60_000.0, **limits))


def test_without_limits_of_its_own_nothing_changes():
    text = "M3\nG1 X80 Y10\nG3 X60 Y30 I-20 J0\nG1 X0\nY0\nM5"
    wide = {"accel_x_mm_s2": 1e9, "accel_y_mm_s2": 1e9, "speed_x_mm_min": 1e9}
    plain = timed(text, 3000)
    assert timed(text, 3000, **wide).sum() == pytest.approx(plain.sum(), rel=1e-9)
    assert timed(text, 3000, blocks_per_s=1e9).tolist() == plain.tolist()
    assert timed(text, 3000, jerk_mm_s3=1e9).sum() == pytest.approx(plain.sum(), rel=1e-5)


@pytest.mark.parametrize("degrees", [0, 20, 45, 70, 90, 135])
def test_a_straight_move_keeps_to_what_either_axis_can(degrees):
    # By hand: 100 mm at u = (cos, sin), speed and acceleration the least of limit / |component|.
    c, s = abs(math.cos(math.radians(degrees))), abs(math.sin(math.radians(degrees)))
    accel = min(1000, 400 / max(c, 1e-12), 250 / max(s, 1e-12))
    speed = min(200, 90 / max(c, 1e-12), 60 / max(s, 1e-12))
    x, y = 100 * math.cos(math.radians(degrees)), 100 * math.sin(math.radians(degrees))
    found = timed(
        f"M3\nG1 X{x:.9f} Y{y:.9f}\nM5", 12_000, accel_x_mm_s2=400, accel_y_mm_s2=250,
        speed_x_mm_min=5400, speed_y_mm_min=3600,
    )  # fmt: skip
    assert found.sum() == pytest.approx(100 / speed + speed / accel, rel=1e-9)


def stepped_circle_s(radius, speed, accel, ax, ay, vx, vy, steps=20_000) -> float:
    """Time round a full circle by small steps of way: at each the speed that the directions there
    allow, then what can be reached forwards and backwards."""
    turn = math.tau * (np.arange(steps) + 0.5) / steps
    wide, high = np.abs(np.sin(turn)), np.abs(np.cos(turn))
    along = np.minimum(accel, np.minimum(ax / wide, ay / high))
    across = np.minimum(accel, np.minimum(ax / high, ay / wide))
    top = np.minimum(speed, np.minimum(vx / wide, vy / high))
    limit = np.minimum(top**2, across * radius)
    ds = math.tau * radius / steps
    u = np.zeros(steps + 1)
    for i in range(steps):
        u[i + 1] = min(limit[i], u[i] + 2 * along[i] * ds)
    u[-1] = 0.0
    for i in range(steps - 1, -1, -1):
        u[i] = min(u[i], u[i + 1] + 2 * along[i] * ds)
    v = np.sqrt(u)
    return float((2 * ds / (v[:-1] + v[1:])).sum())


@pytest.mark.parametrize(
    ("radius", "ax", "ay", "vx", "vy"),
    [
        (40, 300, 300, 1e6, 1e6),
        (40, 700, 250, 1e6, 1e6),
        (200, 900, 500, 60, 100),
        (5, 300, 100, 90, 90),
    ],
)
def test_a_circle_by_axes_agrees_with_a_slow_stepper(radius, ax, ay, vx, vy):
    text = f"G0 X{2 * radius}\nM3\nG3 I-{radius} J0\nM5"
    found = timed(
        text, 9000, accel_x_mm_s2=ax, accel_y_mm_s2=ay, speed_x_mm_min=vx * 60,
        speed_y_mm_min=vy * 60,
    )  # fmt: skip
    stepped = stepped_circle_s(radius, 150, 1000, ax, ay, vx, vy)
    # Pieces of 5 degrees go by the least of their directions: a little slow, never fast.
    assert 0.999 * stepped <= found[1:].sum() <= 1.03 * stepped


def test_pieces_of_arcs_keep_their_way():
    moves = read_program(b"G0 X10\nM3\nG3 X-10 Y0 I-10 J0\nG1 X-20\nG2 I7 J0\nM5").moves
    finer, counts = in_pieces(moves)
    assert counts.tolist() == [1, 36, 1, 72]
    assert finer.length_mm.sum() == pytest.approx(moves.length_mm.sum(), rel=1e-12)
    assert (finer.x[-1], finer.y[-1]) == (moves.x[-1], moves.y[-1])
    radius = np.hypot(finer.x[1:37], finer.y[1:37])
    assert radius == pytest.approx([10] * 36)


def ramp(speed: float, accel: float, jerk: float, steps: int = 30_000) -> tuple[float, float]:
    """(seconds, mm) from rest to a speed, summed in small steps of time: acceleration rises by jerk
    to its top, or to what the speed leaves room for, holds, and falls again."""
    top = min(accel, math.sqrt(speed * jerk))
    rise, hold = top / jerk, speed / top - top / jerk
    dt = (2 * rise + hold) / steps
    t = (np.arange(steps) + 0.5) * dt
    a = np.minimum(np.minimum(jerk * t, top), jerk * (2 * rise + hold - t))
    v = np.cumsum(a * dt)
    assert v[-1] == pytest.approx(speed, rel=1e-6)
    return 2 * rise + hold, float((v * dt).sum())


def stepped_smooth_s(length: float, speed: float, accel: float, jerk: float) -> float:
    t, s = ramp(speed, accel, jerk)
    if 2 * s <= length:
        return 2 * t + (length - 2 * s) / speed
    low, high = 0.0, speed
    for _ in range(40):
        middle = (low + high) / 2
        t, s = ramp(middle, accel, jerk)
        low, high = (middle, high) if 2 * s < length else (low, middle)
    return 2 * t


@pytest.mark.parametrize(
    ("length", "speed", "accel", "jerk"),
    [(300, 100, 500, 5000), (20, 100, 500, 5000), (2, 100, 500, 5000), (50, 20, 800, 4000)],
)
def test_a_smooth_move_agrees_with_a_slow_stepper(length, speed, accel, jerk):
    found = timed(f"M3\nG1 X{length}\nM5", speed * 60, accel, jerk_mm_s3=jerk).sum()
    assert found == pytest.approx(stepped_smooth_s(length, speed, accel, jerk), rel=1e-3)


def test_every_rest_costs_a_smooth_start_and_end():
    # By hand: a/j = 0.1 s more for each way from rest to rest that reaches its speed.
    text = "G61\nM3\nG1 X100\nY100\nX0\nM5"
    plain, smooth = timed(text, 3000, 500.0), timed(text, 3000, 500.0, jerk_mm_s3=5000)
    assert (smooth - plain).tolist() == pytest.approx([0.1] * 3, rel=1e-9)


def test_a_control_reads_no_more_blocks_than_it_can():
    # 400 blocks of .25 mm in a line: at 100 blocks/s 25 mm/s, though 100 mm/s are asked.
    text = "M3\nG1\n" + "\n".join(f"X{i * 0.25}" for i in range(1, 401)) + "\nM5"
    found = timed(text, 6000, 1000.0, blocks_per_s=100).sum()
    assert found == pytest.approx(100 / 25 + 25 / 1000, rel=1e-3)
    assert timed("M3\nG1 X100\nM5", 6000, 1000.0, blocks_per_s=100).sum() == pytest.approx(1.1)


def test_lifting_and_settling_count_a_pierce_each():
    program = read_program(b"M3\nG1 X50\nM5\nG0 X60\nM3\nG1 X90\nM5")
    motion = TableMotion(500.0, 9000.0)
    plain = plan_program(program, motion, Cutting(2000, 0.5, 1.5))
    more = plan_program(program, motion, Cutting(2000, 0.5, 1.5, lift_s=0.7, settle_s=0.3))
    assert more.touch_off_s == pytest.approx(plain.touch_off_s + 1.4)
    assert more.pierce_s == pytest.approx(plain.pierce_s + 0.6)
    assert more.total_s == pytest.approx(plain.total_s + 2.0)
    with pytest.raises(ValueError, match="below zero"):
        Cutting(2000, settle_s=-0.1)


@pytest.mark.parametrize("name", ["accel_x_mm_s2", "speed_y_mm_min", "jerk_mm_s3", "blocks_per_s"])
def test_limits_no_table_has_are_refused(name):
    with pytest.raises(ValueError, match="above zero"):
        TableMotion(500.0, 9000.0, **{name: 0.0})
