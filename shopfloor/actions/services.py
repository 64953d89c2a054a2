"""Everything done on the floor comes in here, once: `action_receive`.

An action is made on the device with its own UUID. A delivery repeated after a network drop gives
the first one's result. Its time is the device's, corrected by what the device's clock is off.
"""

from __future__ import annotations

import logging
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.core.exceptions import ValidationError
from django.db import IntegrityError, OperationalError, transaction
from django.utils.translation import gettext as _

from planning.calc.said import in_units, stored
from shopfloor.actions.device_clock import offset_at_entry_ms, offset_ms_of, readings_of
from shopfloor.actions.envelope import (
    MOST_BYTES,
    envelope_cut,
    envelope_instant,
    envelope_parts,
    happened_at,
)
from shopfloor.actions.kinds import handler_of
from shopfloor.actions.request import ActionRequest
from shopfloor.audit.actor import acting
from shopfloor.errors import FloorConflict, FloorError
from shopfloor.models import Action, ActionState, ScreenSignIn, Table, Terminal, Units, User
from shopfloor.people.rights import FLOOR, may
from shopfloor.people.screen_sign_ins import signin_judged

log = logging.getLogger(__name__)


def action_receive(
    *,
    envelope: dict[str, Any],
    person: User,
    terminal: Terminal | None,
    now: datetime,
    table: Table | None = None,
    signin: ScreenSignIn | None = None,
    pin_given: bool = False,
) -> Action:
    """Applies one delivered action and returns its row: applied, refused or in conflict.

    `envelope` is `{"id", "kind", "payload", "at", "sent_at"?, "age_ms"?, "known_ms"?}` with
    ISO times of the device; the last two are `clock.Readings`.
    `table`: where it was made; blank: where the terminal stands. `signin`: whose page made it.
    `pin_given`: the person gave badge and PIN for just this.
    Raises `FloorError` only where the envelope itself cannot be read: then nothing is stored.
    """
    key, kind, payload = envelope_parts(envelope)
    payload, too_large = envelope_cut(payload)
    place = table or (terminal.table if terminal is not None else None)
    if place is not None:
        payload = {"table": place.code, **payload}
    device_at = envelope_instant(envelope, "at")
    known = Action.objects.filter(pk=key).first()
    if known is not None:
        return known
    sent_at = envelope_instant(envelope, "sent_at") if envelope.get("sent_at") else None
    offset_ms = offset_ms_of(terminal=terminal, sent_at=sent_at, now=now)
    offset_ms = offset_at_entry_ms(
        device_at, offset_ms=offset_ms, readings=readings_of(envelope), now=now
    )
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
            return _apply(action, Circumstances(now, place, signin, pin_given, too_large))
    except IntegrityError:
        known = Action.objects.filter(pk=key).first()
        if known is None:
            raise
        return known  # the same delivery, at the same moment, was first


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


@dataclass(frozen=True, slots=True)
class Circumstances:
    """What is known of a delivery beside what it says itself."""

    now: datetime
    place: Table | None
    signin: ScreenSignIn | None
    pin_given: bool
    too_large: int  # bytes; 0: it is not


@transaction.atomic
def _apply(action: Action, known: Circumstances) -> Action:
    _hold_table(action, known.place)
    if known.signin is not None and known.signin.ended_at is not None:
        action.flag = known.signin.ended_by
    action.save(force_insert=True)
    request = ActionRequest(
        action=action,
        payload=action.payload,
        person=action.person,
        terminal=action.terminal,
        at=action.at,
        now=known.now,
        place=known.place,
        pin_given=known.pin_given,
    )
    try:
        with transaction.atomic():
            action.result = {**_handled(request, known), "undo": request.undo_record.steps}
    except OperationalError:
        raise  # the database is busy: the device sends it again
    except FloorConflict as conflict:
        action.state = ActionState.CONFLICT
        action.result = {
            "message": conflict.message,
            "hint": conflict.hint,
            "mine": conflict.mine,
            "theirs": conflict.theirs,
        }
    except Exception as problem:
        action.state = ActionState.REFUSED
        action.undoes = None
        action.result = _refusal(action, problem)
    action.save(update_fields=["state", "result", "undoes"])
    return action


def _refusal(action: Action, problem: Exception) -> dict[str, Any]:
    """Why it was not taken, in words. What no rule foresaw is logged, and kept like the rest."""
    if isinstance(problem, ValidationError):
        problem = FloorError(" ".join(problem.messages), _("Enter it again."))
    if not isinstance(problem, FloorError):
        log.error("entry %s (%s) broke", action.pk, action.kind, exc_info=problem)
        problem = FloorError(
            _("The program could not take this."), _("It is kept; the office finds why in the log.")
        )
    inch = action.person.units == Units.INCH
    return {
        "message": in_units(stored(problem.message), inch=inch),
        "hint": in_units(stored(problem.hint), inch=inch),
        "ask": problem.ask,
        "details": problem.details,
    }


def _hold_table(action: Action, place: Table | None) -> None:
    """What is done at a table is done one after the other: of two people who finish one sheet at
    the same moment the second finds it finished. Rows that only name the table need not wait."""
    code = action.payload.get("table")
    if place is not None:
        tables = Table.objects.filter(pk=place.pk)
    elif isinstance(code, str):
        tables = Table.objects.filter(code=code)
    else:
        return
    tables.select_for_update(no_key=True).first()


def _handled(request: ActionRequest, known: Circumstances) -> dict[str, Any]:
    if known.too_large:
        raise FloorError(
            _("One entry of {too_large} kB: more than {most_bytes} kB is cut.").format(
                too_large=known.too_large // 1024, most_bytes=MOST_BYTES // 1024
            ),
            _("Only its beginning is kept. Enter it again in parts."),
        )
    if not may(request.person, FLOOR):
        raise FloorError(
            _("{shown_name} may not work at a screen beside a table.").format(
                shown_name=request.person.shown_name
            ),
            _("The office gives the right."),
        )
    if known.signin is not None:
        signin_judged(known.signin, at=request.at, now=request.now)
    if request.place is not None:
        request.table()  # what names another table is refused, whatever the kind
    handler = handler_of(request.action.kind)
    if handler is None:
        raise FloorError(
            _("This version does not know {kind!r}.").format(kind=request.action.kind),
            _("Load the page again."),
        )
    return handler(request)
