"""Taking an action back: its record read backwards."""

from __future__ import annotations

import uuid
from datetime import timedelta
from typing import Any

from django.utils.translation import gettext as _

from shopfloor.actions.request import ActionRequest
from shopfloor.audit.undo_record import undo_steps
from shopfloor.errors import FloorError
from shopfloor.models import Action, ActionState, Table
from shopfloor.runs.floor.after_undo import rows_changed

WINDOW = timedelta(minutes=10)


def undo(request: ActionRequest) -> dict[str, Any]:
    """Payload: `action`. Within `WINDOW`, by the same person or on the same terminal. What was one
    touch is one undo."""
    original = _original(request)
    request.belongs(
        _("That"), Table.objects.filter(code=original.payload.get("table") or "").first()
    )
    if original.state == ActionState.UNDONE:
        raise FloorError(_("That was taken back already."))
    if original.state != ActionState.APPLIED or original.kind == "undo":
        raise FloorError(_("There is nothing to take back in that."))
    same_person = original.person_id == request.person.pk
    same_place = request.terminal is not None and original.terminal_id == request.terminal.pk
    if not (same_person or same_place):
        raise FloorError(_("That was done somewhere else."), _("Whoever did it can take it back."))
    if request.at - original.received_at > WINDOW:
        raise FloorError(
            _("That is too long ago to take back here."), _("The supervisor can correct it.")
        )
    stamp = {"by": request.person, "at": request.at, "action": request.action}
    touched = []
    for one in _one_touch(original):
        touched += undo_steps(
            one.result.get("undo", []), undo_record=request.undo_record, stamp=stamp
        )
        one.state = ActionState.UNDONE
        one.save(update_fields=["state"])
    request.action.undoes = original
    rows_changed(touched, now=request.now)
    return {"undone": str(original.pk)}


def _one_touch(original: Action) -> list[Action]:
    """An entry with all that were made by the same touch on the same screen, the last first."""
    touch = original.payload.get("touch")
    if not touch or not isinstance(touch, str):
        return [original]
    same = Action.objects.select_for_update().filter(
        terminal=original.terminal_id,
        person=original.person_id,
        payload__touch=touch,
        state=ActionState.APPLIED,
        received_at__range=(original.received_at - WINDOW, original.received_at + WINDOW),
    )
    return list(same.order_by("-received_at", "-at"))


def _original(request: ActionRequest) -> Action:
    try:
        return Action.objects.select_for_update().get(pk=uuid.UUID(request.text("action")))
    except (ValueError, Action.DoesNotExist):
        raise FloorError(_("There is no such action.")) from None
