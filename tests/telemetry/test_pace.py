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
    assert passes(0.018) == pytest.approx(0.032)


def test_passes_are_never_closer_than_half_as_much_again_as_one_takes(passes):
    assert passes(0.024) == pytest.approx(0.036)


def test_where_a_pass_takes_longer_than_the_window_more_is_taken_at_once(passes):
    assert passes(0.2) == pytest.approx(0.050)


def test_a_slow_pass_is_forgotten_in_time(passes):
    passes(0.2)
    for _ in range(200):
        last = passes(0.005)
    assert last == pytest.approx(0.045, abs=0.001)
