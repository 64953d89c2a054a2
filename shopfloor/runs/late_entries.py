"""Deciding between two entries that say different things of one run."""

from __future__ import annotations

from datetime import datetime

from django.db import transaction
from django.utils.translation import gettext as _

from shopfloor.audit.actor import acting
from shopfloor.errors import FloorError
from shopfloor.models import Action, ActionState, Run, User
from shopfloor.people.rights import ASSIGN, PLAN, may
from shopfloor.runs.parts import Judged, jobs_settle, parts_cancel, parts_record


@transaction.atomic
def action_resolve(*, action: Action, take: bool, by: User, why: str, now: datetime) -> Action:
    """A person's decision on a conflict. `take` puts the late entry in the standing one's place,
    by rows that cancel it; otherwise it is set aside. Both stay on record with who and why."""
    if not may(by, ASSIGN, PLAN):
        raise FloorError(
            _("{shown_name} may not decide this.").format(shown_name=by.shown_name),
            _("The supervisor can."),
        )
    if not why.strip():
        raise FloorError(_("Say why."), _("It stays beside both entries."), ask="why")
    action = Action.objects.select_for_update().get(pk=action.pk)
    if action.state != ActionState.CONFLICT:
        raise FloorError(_("That is decided already."))
    if take and action.kind == "start":
        raise FloorError(
            _("One sheet has one run."), _("Was it a second sheet: start the nest again for that.")
        )
    with acting(f"user:{by.get_username()}", why=why):
        mine = action.result["mine"]
        run = Run.objects.get(pk=mine["run"])
        lines = {int(part["line"]) for part in mine["parts"]}
        action.state = ActionState.APPLIED if take else ActionState.REFUSED
        action.result = {
            **action.result,
            "run": mine["run"],
            "resolved": {"by": by.shown_name, "at": now.isoformat(), "why": why, "take": take},
        }
        action.decided_at = now
        action.save(update_fields=["state", "result", "decided_at"])
        if take:
            lines |= set(run.results.values_list("line", flat=True))
            parts_cancel(run=run, by=by, at=now, action=action)
            parts_record(run=run, judged=_judged(mine), by=action.person, at=now, action=action)
        jobs_settle(lines=lines, at=now, corrected=True)
    return action


def _judged(
    mine: dict[str, list[dict[str, list[tuple[str, int, str, int | None]]]]],
) -> list[Judged]:
    return [
        Judged(int(str(part["line"])), outcome, quantity, cause, contour)
        for part in mine["parts"]
        for outcome, quantity, cause, contour in part["entries"]
    ]
