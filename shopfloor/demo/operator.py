"""A simulated operator for one demo table: finishes what is burnt and starts what comes next, by
the same actions the floor terminal sends, while a shift is on. North is left to whoever tries the
demo. At the end of a shift that none follows, what is half burnt stays on the table as it is."""

from __future__ import annotations

import uuid
from datetime import UTC, datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from shopfloor.actions.services import action_receive
from shopfloor.audit.actor import acting
from shopfloor.models import Action, ActionState, QueueItem, Run, RunState, Table, Terminal, User
from shopfloor.runs.queries import runs_set_aside
from shopfloor.runs.services import run_set_aside
from shopfloor.site.calendar import shifts_between
from shopfloor.site.queries import shift_patterns, shop_zone

TABLE = "south"
PERSON = "tess"
LOOK_BACK = timedelta(days=8)  # a shop that works one day a week has its last shift in there
PAUSE_S = 75.0  # how long after the last arc the simulated operator comes to the screen


def shift_over_since(now: float) -> datetime | None:
    """When the last shift ended; None while one is on (and before the first)."""
    at = datetime.fromtimestamp(now, UTC)
    spans = shifts_between(at - LOOK_BACK, at, shift_patterns(), ZoneInfo(shop_zone()))
    if not spans or any(span.start <= at < span.end for span in spans):
        return None
    return max(span.end for span in spans)


def goes_home(run: Run, *, now: float) -> bool:
    """Whether the shift that burnt this has ended and none is on. One that somebody started or
    took up since is theirs, at whatever hour."""
    ended = shift_over_since(now)
    last = run.segments.order_by("-started_at", "-pk").first()
    return ended is not None and last is not None and last.started_at < ended


def leave(run: Run, *, now: float) -> None:
    """The half burnt sheet stays for the next shift."""
    with acting("command simulate", why="the shift ended"):
        run_set_aside(run=run, at=datetime.fromtimestamp(now, UTC), reason="shift")


def press(table: Table, *, idle_s: float, now: float) -> None:
    """What the operator presses now, if anything. `idle_s` is how long the table has had nothing
    to burn."""
    if table.code != TABLE or idle_s < PAUSE_S or shift_over_since(now) is not None:
        return
    run = Run.objects.filter(table=table, state=RunState.OPEN).first()
    if run is not None:
        _send(table, "finish", {"run": str(run.pk), "exceptions": []}, now)
        return
    half = runs_set_aside().filter(table=table, queue_item__state="running").first()
    if half is not None:
        _send(table, "start", {"queue_item": half.queue_item_id}, now)
        return
    item = QueueItem.objects.filter(table=table, state="waiting").order_by("position").first()
    if item is not None:
        payload: dict[str, Any] = {"queue_item": item.pk}
        if item.sheet:
            payload["sheet"] = item.sheet.code
        _send(table, "start", payload, now)


def _send(table: Table, kind: str, payload: dict[str, Any], at: float) -> None:
    now = datetime.fromtimestamp(at, UTC)
    envelope = {
        "id": str(uuid.uuid4()),
        "kind": kind,
        "payload": {**payload, "table": table.code},
        "at": now.isoformat(),
        "sent_at": now.isoformat(),
    }
    person = User.objects.get(username=PERSON)
    terminal = Terminal.objects.filter(table=table).first()
    action: Action = action_receive(envelope=envelope, person=person, terminal=terminal, now=now)
    if action.state != ActionState.APPLIED and kind == "start":
        QueueItem.objects.filter(pk=payload["queue_item"]).update(state="dropped")
