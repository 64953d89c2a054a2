"""Counting attempts: exact when they come at once, over in time, bounded."""

from __future__ import annotations

import json

import pytest
import time_machine

from shopfloor.models import Change, Throttle
from shopfloor.people import throttle
from shopfloor.people.throttle import Limit, attempt, forget, give_back, must_wait
from tests.migrated import copied
from tests.processes import ROOT, environment, manage

THREE = Limit("test", 3, 60)
pytestmark = pytest.mark.django_db


def test_so_many_are_allowed_and_then_none_until_the_wait_is_over():
    with time_machine.travel(1_800_000_000, tick=False) as clock:
        assert [attempt(THREE, "a") for _ in range(4)] == [0, 0, 0, 60]
        assert attempt(THREE, "b") == 0
        clock.shift(20)
        assert must_wait(THREE, "a") == attempt(THREE, "a") == 40  # asking does not make it longer
        clock.shift(41)
        assert must_wait(THREE, "a") == 0
        assert [attempt(THREE, "a") for _ in range(4)] == [0, 0, 0, 60]


def test_each_allowed_attempt_begins_the_time_anew():
    with time_machine.travel(1_800_000_000, tick=False) as clock:
        for _ in range(3):
            clock.shift(50)
            attempt(THREE, "a")
        clock.shift(50)
        assert must_wait(THREE, "a") == 10


def test_a_clock_set_back_locks_nobody_out():
    with time_machine.travel(1_800_000_000, tick=False) as clock:
        for _ in range(3):
            attempt(THREE, "a")
        clock.shift(-7200)
        assert must_wait(THREE, "a") == 0
        assert attempt(THREE, "a") == 0


def test_what_was_counted_can_be_forgotten_and_given_back():
    for _ in range(3):
        attempt(THREE, "a")
    give_back(THREE, "a")
    assert must_wait(THREE, "a") == 0
    assert [attempt(THREE, "a") > 0 for _ in range(2)] == [False, True]
    forget(THREE, "a")
    assert attempt(THREE, "a") == 0


def test_what_was_typed_is_not_kept_and_counting_is_no_change_of_the_shops_records():
    attempt(THREE, "ines", "203.0.113.5")
    assert "ines" not in str(list(Throttle.objects.values()))
    assert not Change.objects.filter(table="shopfloor_throttle").exists()


def test_the_store_stays_small(monkeypatch):
    monkeypatch.setattr(throttle, "MOST_ROWS", 20)
    with time_machine.travel(1_800_000_000, tick=False) as clock:
        for n in range(60):
            clock.shift(0.5)
            attempt(THREE, str(n))
        assert Throttle.objects.count() == 20
        clock.shift(61)
        attempt(THREE, "one more")
        assert Throttle.objects.count() == 1


SCRIPT = """
import json, sys, threading
from django.db import connection
from shopfloor.models import Throttle
from shopfloor.people.throttle import Limit, attempt
gate, waits = threading.Barrier(8), []
def one():
    gate.wait(30)
    for _ in range(5):
        waits.append(attempt(Limit("test", 10, 600), "a"))
    connection.close()
threads = [threading.Thread(target=one) for _ in range(8)]
[thread.start() for thread in threads]
[thread.join(60) for thread in threads]
json.dump([Throttle.objects.get().times, len(waits), waits.count(0)], sys.stdout)
"""


def counted(env: dict[str, str]) -> list[int]:
    done = manage("shell", "-v0", "-c", SCRIPT, env=env)
    assert done.returncode == 0, done.stderr
    return json.loads(done.stdout)


@pytest.mark.slow
def test_attempts_at_once_count_each(tmp_path, migrated):
    copied(migrated, tmp_path)
    assert counted(environment(tmp_path, PYTHONPATH=str(ROOT))) == [40, 40, 10]


@pytest.mark.served
def test_attempts_at_once_count_each_on_postgresql(tmp_path, migrated_postgres):
    with migrated_postgres() as url:
        env = environment(tmp_path, PYTHONPATH=str(ROOT), DATABASE_URL=url)
        assert counted(env) == [40, 40, 10]
