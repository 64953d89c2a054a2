"""A simulated operator for one demo table: finishes what is burnt and starts what comes next, by
the same actions the floor terminal sends. North is left to whoever tries the demo."""

from __future__ import annotations

import uuid
from datetime import UTC, datetime
from typing import Any

from shopfloor.models import Action, ActionState, QueueItem, Run, RunState, Table, Terminal, User
from shopfloor.services.actions import action_receive

TABLE = "south"
PERSON = "tess"
PAUSE_S = 75.0  # how long after the last arc the simulated operator comes to the screen


def press(table: Table, *, idle_s: float) -> None:
    """What the operator presses now, if anything. `idle_s` is how long the table has had nothing
    to burn."""
    if table.code != TABLE or idle_s < PAUSE_S:
        return
    run = Run.objects.filter(table=table, state=RunState.OPEN).first()
    if run is not None:
        _send(table, "finish", {"run": str(run.pk), "exceptions": []})
        return
    item = QueueItem.objects.filter(table=table, state="waiting").order_by("position").first()
    if item is not None:
        payload: dict[str, Any] = {"queue_item": item.pk}
        if item.sheet:
            payload["sheet"] = item.sheet.code
        _send(table, "start", payload)


def _send(table: Table, kind: str, payload: dict[str, Any]) -> None:
    now = datetime.now(UTC)
    envelope = {
        "id": str(uuid.uuid4()),
        "kind": kind,
        "payload": payload,
        "at": now.isoformat(),
        "sent_at": now.isoformat(),
    }
    person = User.objects.get(username=PERSON)
    terminal = Terminal.objects.filter(table=table).first()
    action: Action = action_receive(envelope=envelope, person=person, terminal=terminal, now=now)
    if action.state != ActionState.APPLIED and kind == "start":
        QueueItem.objects.filter(pk=payload["queue_item"]).update(state="dropped")
