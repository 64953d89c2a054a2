"""Everything done on the floor comes in here, once: `action_receive`.

An action is made on the device with its own UUID. A delivery repeated after a network drop gives
the first one's result. Its time is the device's, corrected by what the device's clock is off.
"""

from __future__ import annotations

import logging
import uuid
from datetime import datetime
from typing import Any

from django.db import IntegrityError, transaction

from shopfloor.acting import acting
from shopfloor.errors import FloorConflict, FloorError
from shopfloor.models import Action, ActionState, Table, Terminal, User
from shopfloor.services.clock import offset_ms_of
from shopfloor.services.envelope import envelope_instant, envelope_parts, happened_at
from shopfloor.services.handlers import handler_of
from shopfloor.services.handlers.call import Call

log = logging.getLogger(__name__)


def action_receive(
    *, envelope: dict[str, Any], person: User, terminal: Terminal | None, now: datetime
) -> Action:
    """Applies one delivered action and returns its row: applied, refused or in conflict.

    `envelope` is `{"id", "kind", "payload", "at", "sent_at"?}` with ISO times of the device.
    Raises `FloorError` only where the envelope itself cannot be read: then nothing is stored.
    """
    key, kind, payload = envelope_parts(envelope)
    device_at = envelope_instant(envelope, "at")
    known = Action.objects.filter(pk=key).first()
    if known is not None:
        return known
    sent_at = envelope_instant(envelope, "sent_at") if envelope.get("sent_at") else None
    offset_ms = offset_ms_of(terminal=terminal, sent_at=sent_at, now=now)
    action = Action(
        id=key,
        kind=kind[:40],
        payload=payload,
        terminal=terminal,
        person=person,
        device_at=device_at,
        device_offset_ms=offset_ms,
        received_at=now,
        at=happened_at(device_at, offset_ms, now),
    )
    try:
        with acting(f"user:{person.get_username()}", why=f"floor {kind} {key}"):
            return _apply(action, now)
    except IntegrityError:
        known = Action.objects.filter(pk=key).first()
        if known is None:
            raise
        return known  # the same delivery, at the same moment, was first


def action_undo(
    *, action_id: uuid.UUID | str, person: User, terminal: Terminal | None, now: datetime
) -> Action:
    """Takes an action back, as an action of its own."""
    envelope = {
        "id": str(uuid.uuid4()),
        "kind": "undo",
        "payload": {"action": str(action_id)},
        "at": now.isoformat(),
        "sent_at": now.isoformat(),
    }
    return action_receive(envelope=envelope, person=person, terminal=terminal, now=now)


def public_result(action: Action) -> dict[str, Any]:
    """What the device is told of an action."""
    shown = {name: value for name, value in action.result.items() if name != "undo"}
    return {
        "id": str(action.pk),
        "kind": action.kind,
        "state": str(action.state),
        "at": action.at.isoformat(),
        **shown,
    }


@transaction.atomic
def _apply(action: Action, now: datetime) -> Action:
    _hold_table(action)
    action.save(force_insert=True)
    call = Call(
        action=action,
        payload=action.payload,
        person=action.person,
        terminal=action.terminal,
        at=action.at,
        now=now,
    )
    try:
        with transaction.atomic():
            action.result = {**_handled(call), "undo": call.memo.steps}
    except FloorConflict as conflict:
        action.state = ActionState.CONFLICT
        action.result = {
            "message": conflict.message,
            "hint": conflict.hint,
            "mine": conflict.mine,
            "theirs": conflict.theirs,
        }
    except FloorError as refusal:
        action.state = ActionState.REFUSED
        action.undoes = None
        action.result = {
            "message": refusal.message,
            "hint": refusal.hint,
            "ask": refusal.ask,
            "details": refusal.details,
        }
    action.save(update_fields=["state", "result", "undoes"])
    return action


def _hold_table(action: Action) -> None:
    """What is done at a table is done one after the other: of two people who finish one sheet at
    the same moment the second finds it finished. Rows that only name the table need not wait."""
    code = action.payload.get("table")
    if isinstance(code, str):
        tables = Table.objects.filter(code=code)
    elif action.terminal is not None and action.terminal.table_id is not None:
        tables = Table.objects.filter(pk=action.terminal.table_id)
    else:
        return
    tables.select_for_update(no_key=True).first()


def _handled(call: Call) -> dict[str, Any]:
    if not call.person.has_perm("shopfloor.work_floor"):
        raise FloorError(
            f"{call.person.shown_name} may not work at a floor terminal.",
            "The office gives the right.",
        )
    handler = handler_of(call.action.kind)
    if handler is None:
        raise FloorError(
            f"This version does not know {call.action.kind!r}.", "Load the page again."
        )
    return handler(call)
