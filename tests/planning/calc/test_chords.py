"""Outlines in short chords: against closed forms of the true arc, and against a dense numerical
control that follows the path within its tolerance and looks ahead, written apart from the rule."""

from __future__ import annotations

import itertools
import math
import random
import subprocess
import sys

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from planning.calc.motion import TableMotion, move_times, trapezoid_s
from planning.calc.program import read_program

UNITS = {"G21": 1.0, "G20": 25.4}
TOLERANCE = 0.1


def planned(points, speed, accel, *, unit="G21", decimals=2, corner=None):
    """Seconds of cutting along points in mm, written with so many decimals of the unit."""
    lines = [f"X{x / UNITS[unit]:.{decimals}f} Y{y / UNITS[unit]:.{decimals}f}" for x, y in points]
    text = "\n".join([unit, f"G0 {lines[0]}", "M3", "G1", *lines[1:], "M5"])
    moves = read_program(text.encode()).moves
    asked = np.where(moves.torch, speed, 60_000)
    times = move_times(moves, asked, TableMotion(accel, 60_000, corner, TOLERANCE))
    return float(times[moves.torch].sum())


def along(curve, chord, length):
    """Points of ``curve`` (a function of 0..1 to x, y) about ``chord`` mm apart along it."""
    fine = np.array(curve(np.linspace(0, 1, 20_001)))
    run = np.concatenate(([0], np.cumsum(np.hypot(*np.diff(fine)))))
    at = np.linspace(0, run[-1], max(3, round(length / chord)) + 1)
    return list(zip(np.interp(at, run, fine[0]), np.interp(at, run, fine[1]), strict=True))


def dense_s(x, y, speed, accel):
    """Seconds from rest to rest along a fine smooth path: v^2 <= a / curvature from three points,
    then sped up and slowed down step by step."""
    step = np.hypot(np.diff(x), np.diff(y))
    ax, ay, bx, by = np.diff(x)[:-1], np.diff(y)[:-1], np.diff(x)[1:], np.diff(y)[1:]
    across = np.hypot(x[2:] - x[:-2], y[2:] - y[:-2])
    curvature = 2 * np.abs(ax * by - ay * bx) / (step[:-1] * step[1:] * across)
    most = np.minimum((speed / 60) ** 2, accel / np.maximum(curvature, 1e-12))
    square = [0.0, *most.tolist(), 0.0]
    for order in (range(1, len(square)), range(len(square) - 2, -1, -1)):
        for i in order:
            j = i - 1 if order.step > 0 else i + 1
            square[i] = min(square[i], square[j] + 2 * accel * step[min(i, j)])
    speeds = np.sqrt(square)
    return float((2 * step / (speeds[:-1] + speeds[1:])).sum())


def control_s(points, speed, accel, tolerance=TOLERANCE):
    """A control that rounds its path: means over a stretch of it, twice, the longest stretch that
    leaves the programmed path by no more than the tolerance."""
    x, y = np.array(points).T
    run = np.concatenate(([0], np.cumsum(np.hypot(np.diff(x), np.diff(y)))))
    step = 0.02
    at = np.linspace(0, run[-1], round(run[-1] / step) + 1)
    fine = np.interp(at, run, x), np.interp(at, run, y)

    def rounded(half):
        kernel = np.convolve(np.ones(2 * half + 1), np.ones(2 * half + 1))
        kernel /= kernel.sum()
        pad = 2 * half
        smooth = []
        for values in fine:
            first, last = (
                2 * values[0] - values[pad:0:-1],
                2 * values[-1] - values[-2 : -pad - 2 : -1],
            )
            smooth.append(np.convolve(np.concatenate((first, values, last)), kernel, "valid"))
        return smooth

    half = 1
    while half < len(at) // 8:
        smooth = rounded(half + 1)
        if np.hypot(smooth[0] - fine[0], smooth[1] - fine[1]).max() > tolerance:
            break
        half += max(1, half // 10)
    return dense_s(*rounded(half), speed, accel)


def circle(radius):
    return lambda t: (radius * np.cos(math.tau * t), radius * np.sin(math.tau * t))


WRITTEN = [("G21", 2, 0.97, 1.03), ("G21", 3, 0.975, 1.005), ("G20", 4, 0.975, 1.005)]


@pytest.mark.parametrize(("unit", "decimals", "least", "most"), WRITTEN)
@pytest.mark.parametrize("chord", [0.05, 0.1, 0.35, 1.0])
def test_a_circle_in_chords_takes_as_long_as_the_true_arc(unit, decimals, least, most, chord):
    # On the arc v^2 <= a R; from rest to rest over 2 pi R. Within a chord of length L the speed may
    # rise by a L, as on any polygon: L / 4R of the time at most, so chords are short here.
    for radius in (5, 25, 120):
        if chord > radius / 20:
            continue
        points = along(circle(radius), chord, math.tau * radius)
        for speed, accel in ((500, 250), (3000, 1000), (12_000, 400), (12_000, 5000)):
            most_mm_s = min(speed / 60, math.sqrt(accel * radius))
            true = trapezoid_s(math.tau * radius, most_mm_s, accel)
            found = planned(points, speed, accel, unit=unit, decimals=decimals)
            assert least <= found / true <= most, (radius, speed, accel, found / true)


def ellipse(t):
    return 40 * np.cos(math.tau * t), 12 * np.sin(math.tau * t)


def wave(t):
    return 150 * t, 6 * np.sin(6 * math.pi * t)


def spiral(t):
    return (10 + 20 * t) * np.cos(9 * t), (10 + 20 * t) * np.sin(9 * t)


@pytest.mark.parametrize("curve", [ellipse, wave, spiral])
@pytest.mark.parametrize(("chord", "speed"), [(0.05, 1500), (0.05, 12_000), (0.3, 6000)])
def test_curves_in_chords_take_as_long_as_a_fine_control_on_the_curve(curve, chord, speed):
    fine = np.array(curve(np.linspace(0, 1, 8001)))
    length = float(np.hypot(*np.diff(fine)).sum())
    true = dense_s(*fine, speed, 800)
    found = planned(along(curve, chord, length), speed, 800)
    assert found == pytest.approx(true, rel=0.03)


@pytest.mark.parametrize("speed", [1000, 6000])
def test_rounded_digits_brake_no_more_than_a_control_with_the_tolerance(speed):
    """The control gets the very digits of the program, their jitter too."""
    written = [(round(x, 2), round(y, 2)) for x, y in along(ellipse, 0.1, 175)]
    assert planned(written, speed, 600) == pytest.approx(control_s(written, speed, 600), rel=0.03)


def polygon(sides, side):
    radius = side / 2 / math.sin(math.pi / sides)
    return [
        (radius * math.cos(math.tau * k / sides), radius * math.sin(math.tau * k / sides))
        for k in range(sides + 1)
    ]


@pytest.mark.parametrize("decimals", [2, 3, 9])
@pytest.mark.parametrize(("sides", "side"), [(3, 30), (4, 8), (6, 20), (12, 15)])
def test_squares_and_polygons_keep_their_corners(sides, side, decimals):
    """By hand: v^2 = a min(d s/(1-s), (L/2)/tan(phi/2)) at each corner; a side between two corners
    of speed v is left at full speed in its middle."""
    points = polygon(sides, side)
    written = [(round(x, decimals), round(y, decimals)) for x, y in points]
    accel, speed, asked = 700.0, 5000 / 60, 5000
    seconds, corner2 = 0.0, [0.0]
    lengths = [math.dist(a, b) for a, b in itertools.pairwise(written)]
    for i in range(1, sides):
        a, b, c = written[i - 1 : i + 2]
        turn = math.atan2(c[1] - b[1], c[0] - b[0]) - math.atan2(b[1] - a[1], b[0] - a[0])
        half = (turn % math.tau) / 2
        s = math.cos(half)
        by_length = min(lengths[i - 1], lengths[i]) / 2 / math.tan(half)
        corner2.append(min(accel * min(TOLERANCE * s / (1 - s), by_length), speed**2))
    corner2.append(0.0)
    for length, u0, u1 in zip(lengths, corner2, corner2[1:], strict=False):
        peak = min(speed, math.sqrt((u0 + u1) / 2 + accel * length))
        changing = (2 * peak**2 - u0 - u1) / (2 * accel)
        seconds += (2 * peak - math.sqrt(u0) - math.sqrt(u1)) / accel + (length - changing) / peak
    assert planned(written, asked, accel, decimals=decimals) == pytest.approx(seconds, rel=1e-6)


def jagged(kind):
    if kind == "teeth":
        return [(4 * k + x, y) for k in range(12) for x, y in ((0, 0), (1, 3), (2, 3), (3, 0))]
    if kind == "zigzag":
        return [(k * 2.0, 1.5 * (k % 2)) for k in range(30)]
    return [(2, 0), (48, 0), (50, 2), (50, 28), (48, 30), (2, 30), (0, 28), (0, 2), (2, 0)]


def exact_s(points, speed, accel):
    """The same path with every figure in full: nothing is rounding, and windows of two moves
    reach nowhere across sides this long."""
    return planned(points, speed, accel, decimals=12)


@pytest.mark.parametrize("kind", ["teeth", "zigzag", "chamfers"])
@pytest.mark.parametrize("speed", [800, 5000])
def test_real_corners_keep_their_time_as_drawn(kind, speed):
    points = jagged(kind)
    drawn = exact_s(points, speed, 900)
    assert 0.97 * drawn <= planned(points, speed, 900) <= drawn * (1 + 1e-9)
    # In chords of 0.1 mm the corners are the same corners.
    chorded = [points[0]]
    for a, b in itertools.pairwise(points):
        pieces = math.ceil(math.dist(a, b) / 0.1)
        for k in range(1, pieces + 1):
            chorded.append((a[0] + (b[0] - a[0]) * k / pieces, a[1] + (b[1] - a[1]) * k / pieces))
    assert 0.97 * drawn <= planned(chorded, speed, 900) <= 1.09 * drawn


def test_exact_stop_merges_nothing():
    points = along(circle(10), 0.5, math.tau * 10)
    lengths = [math.dist(a, b) for a, b in itertools.pairwise(points)]
    by_hand = sum(trapezoid_s(length, 50, 1000) for length in lengths)
    assert planned(points, 3000, 1000, decimals=9, corner="stop") == pytest.approx(
        by_hand, rel=1e-6
    )


@settings(max_examples=15)
@given(st.integers(0, 2**32), st.sampled_from([0.05, 0.3, 2.0]), st.sampled_from([2, 3]))
def test_splitting_chords_changes_no_time(seed, chord, decimals):
    """Pieces of a chord lie on it to the last digit a float has; the program's decimals are those
    of its places, so as many more are written that the count of long ones stays below a share."""
    rng = random.Random(seed)
    drawn = along(lambda t: ellipse(t / 4), chord, 44)
    points = [(round(x, decimals), round(y, decimals)) for x, y in drawn]
    split = [points[0]]
    for a, b in itertools.pairwise(points):
        if rng.random() < 0.02:
            share = rng.uniform(0.2, 0.8)
            split.append((a[0] + share * (b[0] - a[0]), a[1] + share * (b[1] - a[1])))
        split.append(b)

    def plain(value):
        return f"{value:.{decimals}f}" if value == round(value, decimals) else f"{value:.15f}"

    def seconds(path):
        words = [f"X{plain(x)} Y{plain(y)}" for x, y in path]
        moves = read_program("\n".join(["G0 " + words[0], "G1", *words[1:]]).encode()).moves
        return move_times(moves, np.full(len(moves), 6000.0), TableMotion(800, 6000))[1:].sum()

    assert seconds(split) == pytest.approx(seconds(points), rel=1e-9)


PEAK = """
import resource
import numpy as np
from planning.calc.motion import TableMotion
from planning.calc.plan import Cutting, plan_program
from planning.calc.program import read_program
turn = np.arange(2_000_000) * 1e-3
x, y = np.round(300 + 200 * np.cos(turn), 2), np.round(300 + 120 * np.sin(turn), 2)
text = ("M3\\nG1\\n" + "\\n".join(f"X{a:.2f}Y{b:.2f}" for a, b in zip(x, y)) + "\\nM5\\n").encode()
del x, y, turn
plan_program(read_program(text), TableMotion(800, 15_000), Cutting(3000))
print(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss // 1024)
"""


@pytest.mark.long
def test_two_million_chords_are_planned_in_under_700_mb():
    done = subprocess.run([sys.executable, "-c", PEAK], capture_output=True, text=True, check=True)
    assert int(done.stdout) < 700
