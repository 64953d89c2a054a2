"""Jerk at corners that are rounded without a stop, against ramps put together one by one: the
fastest smooth motion along each side from corner speed to corner speed, its peak found by halving.
"""

from __future__ import annotations

import math

import numpy as np
import pytest

from planning.calc.motion import TableMotion, move_times
from planning.calc.program import read_program

SPEED, TOLERANCE = 50.0, 0.1  # mm/s, mm


def planned_s(text, accel, jerk):
    moves = read_program(text.encode()).moves
    motion = TableMotion(accel, 9000.0, "blend", TOLERANCE, jerk_mm_s3=jerk)
    return float(move_times(moves, np.full(len(moves), SPEED * 60), motion)[moves.torch].sum())


def ramp(slow, fast, accel, jerk):
    """(seconds, mm) of a smooth change of speed."""
    by = fast - slow
    full = by >= accel**2 / jerk
    seconds = by / accel + accel / jerk if full else 2 * math.sqrt(by / jerk)
    return seconds, (slow + fast) / 2 * seconds


def side_s(length, first, last, accel, jerk):
    def both(peak):
        up, down = ramp(first, peak, accel, jerk), ramp(last, peak, accel, jerk)
        return up[0] + down[0], up[1] + down[1]

    low, high = max(first, last), SPEED
    if both(SPEED)[1] <= length:
        low = SPEED
    else:
        for _halving in range(60):
            middle = (low + high) / 2
            low, high = (middle, high) if both(middle)[1] <= length else (low, middle)
    seconds, used = both(low)
    return seconds + max(0.0, length - used) / low


@pytest.mark.parametrize("accel", [500.0, 2000.0])
@pytest.mark.parametrize("jerk", [5_000.0, 20_000.0, 100_000.0])
@pytest.mark.parametrize("side", [10, 20, 50, 200])
def test_a_square_rounded_at_its_corners_loses_time_at_each(side, accel, jerk):
    s = math.cos(math.pi / 4)
    corner = min(SPEED, math.sqrt(accel * min(TOLERANCE * s / (1 - s), side / 2)))
    ends = ((0, corner), (corner, corner), (corner, corner), (corner, 0))
    true_s = sum(side_s(side, first, last, accel, jerk) for first, last in ends)
    text = f"M3\nG1 X{side}\nY{side}\nX0\nY0\nM5"
    assert planned_s(text, accel, jerk) == pytest.approx(true_s, rel=0.01)


@pytest.mark.parametrize("chord", [0.1, 0.5])
def test_chords_of_a_circle_lose_nothing_at_each_joint(chord):
    radius = 8.0
    count = round(math.tau * radius / chord)
    angles = [math.tau * n / count for n in range(count + 1)]
    points = [(radius * math.cos(a), radius * math.sin(a)) for a in angles]
    chords = f"G0 X{radius}\nM3\nG1\n" + "\n".join(f"X{x:.3f} Y{y:.3f}" for x, y in points[1:])
    arc = f"G0 X{radius}\nM3\nG3 X{radius} Y0 I-{radius} J0\nM5"
    assert planned_s(chords + "\nM5", 500.0, 20_000.0) == pytest.approx(
        planned_s(arc, 500.0, 20_000.0), rel=0.02
    )
