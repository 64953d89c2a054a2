"""Deliveries at the same moment, through connections of their own. A test database in memory locks
otherwise than one in a file, so this runs the real program on a file, and on PostgreSQL."""

from __future__ import annotations

import json
import os
import subprocess
import sys

import pytest

from tests.shopfloor.floor_shop import ROOT

SCRIPT = """
import json, sys, threading, uuid
from django.db import connection
from shopfloor.models import Action, Change, PartResult, Run, Shop, Table, Torch, User
from shopfloor.actions.services import action_receive
from tests.shopfloor.floor_shop import MINUTE, SECOND, T0, Floor

Shop.objects.create(name="Brindle Weir Fabricating")
table = Table.objects.create(code="north", name="North")
Torch.objects.create(table=table, code="1")
floor = Floor(table, User.objects.create(username="milo", is_superuser=True))
line = floor.line(quantity=4)
floor.done("start", T0, queue_item=floor.queue(floor.nest(lines=[line])).pk)
def envelope(key):
    return {
        "id": str(key),
        "kind": "finish",
        "payload": {"exceptions": []},
        "at": (T0 + MINUTE).isoformat(),
    }

one = uuid.uuid4()
keys = {"same": [one] * 4, "other": [uuid.uuid4() for _ in range(4)]}[WHICH]
gate, states = threading.Barrier(4), []

def deliver(key):
    try:
        gate.wait(30)
        action = action_receive(
            envelope=envelope(key),
            person=floor.person,
            terminal=floor.terminal,
            now=T0 + 2 * MINUTE,
        )
        states.append(action.state)
    except Exception as problem:
        states.append(repr(problem))
    finally:
        connection.close()

threads = [threading.Thread(target=deliver, args=(key,)) for key in keys]
[thread.start() for thread in threads]
[thread.join(60) for thread in threads]
made = Change.objects.filter(table="shopfloor_partresult")
json.dump({
    "states": sorted(states),
    "finishes": Action.objects.filter(kind="finish").count(),
    "parts": list(PartResult.objects.values_list("quantity", flat=True)),
    "run": Run.objects.get().state,
    "who": list(made.values_list("who", flat=True)),
}, sys.stdout)
"""


def at_once(env: dict[str, str], which: str) -> dict:
    done = subprocess.run(
        [
            sys.executable,
            str(ROOT / "manage.py"),
            "shell",
            "-v0",
            "-c",
            f"WHICH = {which!r}\n{SCRIPT}",
        ],
        env={**os.environ, **env},
        capture_output=True,
        text=True,
        check=True,
        timeout=120,
    )
    return json.loads(done.stdout)


ONCE = {"finishes": 1, "parts": [4], "run": "finished", "who": ["user:milo"]}
# Each of the four was made by itself: one counts, the others are kept beside it.
FOUR = ONCE | {"finishes": 4, "states": ["applied", "conflict", "conflict", "conflict"]}


@pytest.mark.slow
def test_the_same_delivery_four_times_at_once_is_applied_once(real_data):
    assert at_once(real_data, "same") == ONCE | {"states": ["applied"] * 4}


@pytest.mark.slow
def test_of_four_who_finish_one_sheet_at_once_one_counts(real_data):
    assert at_once(real_data, "other") == FOUR


@pytest.mark.served
@pytest.mark.parametrize("which", ["same", "other"])
def test_so_on_postgresql(tmp_path, migrated_postgres, which):
    with migrated_postgres() as url:
        env = {"KERFBOOK_DATA": str(tmp_path), "PYTHONPATH": str(ROOT), "DATABASE_URL": url}
        found = at_once(env, which)
    assert found == (FOUR if which == "other" else ONCE | {"states": ["applied"] * 4})
