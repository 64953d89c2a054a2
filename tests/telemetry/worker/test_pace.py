"""When the journal is written, so that a line is committed within its window."""

from __future__ import annotations

import pytest

from telemetry.worker import pace
from telemetry.worker.pace import Pace


@pytest.fixture
def passes(monkeypatch):
    """Commits passes that took so long; returns the time to the next."""
    now, made = [100.0], Pace()
    monkeypatch.setattr(pace.time, "monotonic", lambda: now[0])

    def take(took_s: float) -> float:
        now[0] += took_s
        made.committed(now[0] - took_s)
        return made.between_s

    return take


def test_the_wait_and_the_way_to_the_commit_are_the_window_together(passes):
    assert passes(0.010) == pytest.approx(0.040)
    for _ in range(9):
        last = passes(0.018)
    assert last == pytest.approx(0.032)


def test_passes_are_never_closer_than_three_tenths_more_than_one_takes(passes):
    assert passes(0.024) == pytest.approx(0.0312)


def test_where_passes_take_longer_than_the_window_more_is_taken_at_once(passes):
    assert passes(0.2) == pytest.approx(0.050)


def test_one_slow_pass_among_others_slows_nothing(passes):
    for _ in range(5):
        passes(0.010)
    assert passes(0.2) == passes(0.010) == pytest.approx(0.040)


def test_passes_that_have_become_slow_or_quick_again_are_noticed_within_five(passes):
    for took_s, between_s in ((0.010, 0.040), (0.030, 0.039), (0.005, 0.045)):
        for _ in range(4):
            passes(took_s)
        assert passes(took_s) == pytest.approx(between_s)
