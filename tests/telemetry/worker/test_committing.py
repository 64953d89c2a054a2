"""How the thread that commits shares its time between lines and all else."""

from __future__ import annotations

import gc
import threading
from typing import Any

import pytest

from telemetry.worker import committing
from telemetry.worker.committing import Committing
from telemetry.worker.turns import Turns
from telemetry.worker.unhurried import pass_over_what_is_there, unhurried


class Silent:
    """A source of which nothing is to be read."""

    ready, trouble, feed = True, None, None


@pytest.fixture
def told(monkeypatch) -> list[list[Any]]:
    """The sources that each beat spoke of."""
    found: list[list[Any]] = []
    monkeypatch.setattr(committing, "beat", found.append)
    monkeypatch.setattr(committing, "host_clock_alarm", lambda *_: None)
    monkeypatch.setattr(committing, "log_alarm", lambda _: None)
    return found


def made(count: int) -> Committing:
    return Committing([Silent() for _ in range(count)], Turns(), threading.Event())


def test_few_sources_are_all_told_of_at_once(told):
    working = made(3)
    working._say()
    assert told == [working._runners]


def test_of_a_hundred_sources_ten_are_told_of_at_once_and_each_once_a_round(told):
    working = made(100)
    for _ in range(10):
        working._say()
    assert [len(some) for some in told] == [10] * 10
    assert {id(one) for some in told for one in some} == {id(one) for one in working._runners}


def test_a_share_that_could_not_be_told_of_holds_up_no_other(told, monkeypatch):
    working = made(25)
    monkeypatch.setattr(committing, "beat", lambda _: 1 / 0)
    with pytest.raises(ZeroDivisionError):
        working._say()
    monkeypatch.setattr(committing, "beat", told.append)
    for _ in range(3):
        working._say()
    assert [len(some) for some in told] == [8, 8, 9]


def test_sums_wait_while_lines_do_but_not_for_long(monkeypatch):
    working, settled, now = made(1), [], [100.0]
    monkeypatch.setattr(committing, "settle_some", lambda _: settled.append(now[0]))
    monkeypatch.setattr(committing, "store_together", lambda _: [])
    monkeypatch.setattr(committing.time, "monotonic", lambda: now[0])
    for now[0] in (100.0, 100.04, 100.08):
        working._store(news=True)
    assert settled == [100.0, 100.04, 100.08]
    working._turns.synced.set()
    for now[0] in (100.12, 100.30, 100.40, 100.50):
        working._store(news=True)
    assert settled[3:] == [100.40]


def test_the_collector_passes_over_what_was_made_since_it_began():
    before = gc.get_threshold()
    with unhurried():
        first = gc.get_freeze_count()
        kept = [[n] for n in range(1_000)]
        pass_over_what_is_there()
        assert gc.get_freeze_count() >= first + len(kept)
        assert gc.get_threshold() != before
    assert gc.get_threshold() == before
    assert gc.get_freeze_count() == 0
