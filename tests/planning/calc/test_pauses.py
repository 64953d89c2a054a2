"""Settling and touch-off learned from runs: simulated tables of known pauses, and a hand-worked
case."""

from __future__ import annotations

from dataclasses import replace
from random import Random

import pytest

from planning.calc.pauses import Burnt, CutRun, Gap, learned, pausing, settling


def table_runs(seed, *, settle_s=0.6, pause_s=5.0, runs=30, contours=40, alike=False):
    """Each run has a speed of its own; now and then somebody waits between two contours."""
    random = Random(seed)
    found = []
    for _run in range(runs):
        speed = 1 + random.gauss(0, 0.06)
        arcs, gaps = [], []
        for _contour in range(contours):
            bare = 5 * random.lognormvariate(0, 0.01 if alike else 0.9)
            seen = (settle_s + speed * bare) * random.lognormvariate(0, 0.02)
            arcs.append(Burnt(bare, seen + random.uniform(-0.1, 0.1)))
            travel = random.uniform(0.5, 3)
            waited = 300 if random.random() < 0.02 else 0
            gaps.append(Gap(travel, travel + pause_s * random.lognormvariate(0, 0.1) + waited))
        found.append(CutRun(tuple(arcs), tuple(gaps), pause_s=4.0))
    return found


def test_settling_is_what_does_not_grow_with_the_contour():
    # Run by run seen = .5 + speed x plan exactly, speeds 1.0 to 1.7.
    runs = [
        CutRun(tuple(Burnt(b, 0.5 + (1 + k / 10) * b) for b in (1.0, 2, 4, 8, 16)), (), 0.0)
        for k in range(8)
    ]
    found = settling(runs)
    assert found.value == pytest.approx(0.5)
    assert (found.n, found.runs) == (40, 8)
    assert settling(runs[:7]) is None


def test_pauses_between_contours_leave_waits_out():
    gaps = (*(Gap(1.0, 1.0 + pause) for pause in (4.0, 5, 6, 7, 8)), Gap(1.0, 900.0))
    found = pausing([CutRun((), gaps, 0.0)] * 8)
    assert (found.value, found.low, found.n) == (6.5, 6.5, 48)  # the median of six


def test_ranges_hold_what_is_true():
    """Promised 90: of 150 tables with few runs 126 to 144 are within three standard errors."""
    few = [settling(table_runs(seed, runs=10, contours=12)) for seed in range(150)]
    assert 124 <= sum(one.low <= 0.6 <= one.high for one in few) <= 146


def test_what_is_proposed_makes_runs_better_that_it_had_not_seen():
    for seed in range(5):
        found = learned(table_runs(seed), 0.0, None)
        assert found.better
        assert found.settle.value == pytest.approx(0.6, abs=0.05)
        assert found.pause.value == pytest.approx(5.0, abs=0.1)
        # A shop's runs differ by 6 %: half of them within about 4 %.
        assert found.replayed.after < 0.05 < 0.09 < found.replayed.before


def test_a_table_that_runs_as_it_says_is_left_alone():
    for seed in range(40):
        found = learned(table_runs(seed, settle_s=0.0, pause_s=4.0), 0.0, None)
        assert (found.settle, found.pause, found.better) == (None, None, False)


def test_contours_all_alike_tell_no_settling():
    assert settling(table_runs(1, alike=True)) is None


def test_what_held_once_and_holds_no_more_is_not_proposed():
    """A control mended after the older runs: their pauses make the newer ones worse."""
    runs = [*table_runs(1, runs=20), *table_runs(2, settle_s=0.0, pause_s=4.0, runs=10)]
    found = learned(runs, 0.0, None)
    assert found.settle is not None
    assert not found.better


def test_without_gaps_or_runs_nothing_is_said():
    bare = [replace(run, gaps=()) for run in table_runs(3)]
    assert learned(bare, 0.0, None).replayed is None
    assert learned([], 0.0, None).settle is None
