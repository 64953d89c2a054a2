"""Deliveries at the same moment, through connections of their own. A test database in memory locks
otherwise than one in a file, so this runs the real program on a file."""

from __future__ import annotations

import json
import os
import subprocess
import sys

import pytest

from .conftest import ROOT

SCRIPT = """
import json, sys, threading, uuid
from django.db import connection
from shopfloor.models import Action, Change, PartResult, Run, Shop, Table, Torch, User
from shopfloor.services.actions import action_receive
from tests.shopfloor.floor.conftest import MINUTE, SECOND, T0, Floor

Shop.objects.create(name="Brindle Weir Fabricating")
table = Table.objects.create(code="north", name="North")
Torch.objects.create(table=table, code="1")
floor = Floor(table, User.objects.create(username="milo", is_superuser=True))
line = floor.line(quantity=4)
floor.done("start", T0, queue_item=floor.queue(floor.nest(lines=[line])).pk)
envelope = {
    "id": str(uuid.uuid4()),
    "kind": "finish",
    "payload": {"exceptions": []},
    "at": (T0 + MINUTE).isoformat(),
}
gate, states = threading.Barrier(4), []

def deliver():
    try:
        gate.wait(30)
        action = action_receive(
            envelope=envelope, person=floor.person, terminal=floor.terminal, now=T0 + 2 * MINUTE
        )
        states.append(action.state)
    except Exception as problem:
        states.append(repr(problem))
    finally:
        connection.close()

threads = [threading.Thread(target=deliver) for _ in range(4)]
[thread.start() for thread in threads]
[thread.join(60) for thread in threads]
made = Change.objects.filter(table="shopfloor_partresult")
json.dump({
    "states": states,
    "finishes": Action.objects.filter(kind="finish").count(),
    "parts": list(PartResult.objects.values_list("quantity", flat=True)),
    "run": Run.objects.get().state,
    "who": list(made.values_list("who", flat=True)),
}, sys.stdout)
"""


@pytest.mark.slow
def test_the_same_delivery_four_times_at_once_is_applied_once(real_data):
    done = subprocess.run(
        [sys.executable, str(ROOT / "manage.py"), "shell", "-v0", "-c", SCRIPT],
        env={**os.environ, **real_data},
        capture_output=True,
        text=True,
        check=True,
        timeout=120,
    )
    assert json.loads(done.stdout) == {
        "states": ["applied"] * 4,
        "finishes": 1,
        "parts": [4],
        "run": "finished",
        "who": ["user:milo"],
    }
