"""Processes kept running, with real ones."""

from __future__ import annotations

import os
import signal
import time
from pathlib import Path

import pytest

from dashboards.supervisor import Child, Supervisor

# Starts a process of its own, says its number, and is killed outright or waits.
PROGRAM = "sleep 300 & echo $! >> {numbers}; {then}"


@pytest.fixture(autouse=True)
def _signals(monkeypatch):
    monkeypatch.setattr(signal, "signal", lambda *_: None)  # pytest's own stay


def alive(number: int) -> bool:
    try:
        return Path(f"/proc/{number}/stat").read_text().rpartition(")")[2].split()[0] != "Z"
    except FileNotFoundError:
        return False


def all_end(numbers: list[int]) -> bool:
    """A signal reaches its process when that is next run, not when it is sent."""
    last = time.monotonic() + 10
    while any(alive(number) for number in numbers):
        if time.monotonic() > last:
            return False
        time.sleep(0.02)
    return True


def run(tmp_path: Path, then: str, until) -> list[int]:
    """Runs the program until `until` of the numbers said holds, and ends it; returns them."""
    said = tmp_path / "numbers"
    command = ["sh", "-c", PROGRAM.format(numbers=said, then=then)]
    child = Child("one", command, dict(os.environ), str(tmp_path / "log"))
    supervisor = Supervisor([child], say=lambda text: None)
    last = time.monotonic() + 20

    def numbers() -> list[int]:
        return [int(line) for line in said.read_text().split()] if said.exists() else []

    def each_round() -> None:
        if until(numbers()) or time.monotonic() > last:
            supervisor.stop()

    supervisor.run(each_round=each_round)
    return numbers()


def test_what_a_killed_program_started_does_not_outlive_it(tmp_path):
    numbers = run(tmp_path, "kill -KILL $$", until=lambda said: len(said) >= 2)
    assert len(numbers) >= 2  # it was started again
    assert all_end(numbers)


def test_what_it_started_ends_with_it(tmp_path):
    # `exec` leaves nobody who would hand the signal on.
    numbers = run(tmp_path, "exec sleep 300", until=lambda said: len(said) == 1)
    assert len(numbers) == 1
    assert all_end(numbers)
