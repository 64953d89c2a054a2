"""What a supervisor does from the day's page, by ids: each is one service call underneath."""

from __future__ import annotations

import uuid
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.db import transaction
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_

from shopfloor.audit.undo_record import UndoRecord, undo_steps
from shopfloor.errors import FloorError
from shopfloor.models import (
    Action,
    ArcAssignment,
    NestRevision,
    Run,
    Stoppage,
    User,
)
from shopfloor.runs.arc_runs import run_from_arcs
from shopfloor.runs.follow import arcs_assign, arcs_unassign
from shopfloor.runs.opened_stretch import unassigned_stretch
from shopfloor.runs.stoppages import reason_of, stoppage_explain

LINE_LENGTH = 300
GIVEN = N_("given from the day's page")


@dataclass(frozen=True, slots=True)
class ArcsAssigned:
    """What was said of some arcs. `steps` take back the run that was opened for them, if any."""

    keys: tuple[str, ...]
    run_id: str
    nest: str
    steps: tuple[dict[str, Any], ...] = ()


@transaction.atomic
def assign_arcs(
    *,
    first_key: str,
    arcs: int,
    by: User,
    now: datetime,
    run_id: str = "",
    revision_id: int | None = None,
    nest: str = "",
) -> ArcsAssigned:
    """Gives loose arcs to a run, or to a nest (by its name, or one of its revisions) nobody pressed
    start for (a run is made from them),
    or, with neither, to no job at all. It is `arcs` of them from `first_key` on:
    what lies before and what came after the person looked is left alone."""
    try:
        loose = unassigned_stretch(first_key, arcs)
    except LookupError as gone:
        raise FloorError(str(gone), _("Load the page again.")) from gone
    keys = loose.keys
    undo_record = UndoRecord()
    run = None
    if run_id:
        run = _run(run_id, loose.table)
    if run_id or (revision_id is None and not nest):
        arcs_assign(arc_keys=keys, run=run, by=by, why=_(GIVEN), now=now)
    else:
        revision = _revision(revision_id, nest)
        run = run_from_arcs(
            revision=revision, arc_keys=keys, by=by, why=_(GIVEN), now=now, undo_record=undo_record
        )
    if run is None:
        return ArcsAssigned(keys, "", "")
    return ArcsAssigned(keys, str(run.pk), run.revision.nest.name, tuple(undo_record.steps))


@transaction.atomic
def unassign_arcs(
    *, keys: Sequence[str], steps: Sequence[dict[str, Any]], by: User, now: datetime
) -> int:
    """Takes back what `assign_arcs` said of these arcs, and the run it opened for them unless
    something else was put on it since; matching decides again."""
    runs = [step["pk"] for step in steps if step.get("model") == Run._meta.label]
    others = ArcAssignment.objects.filter(segment__run__in=runs).exclude(by=None)
    if steps and not others.exclude(arc_key__in=keys).exists():
        undo_steps(
            list(steps), undo_record=UndoRecord(), stamp={"by": by, "at": now, "action": None}
        )
    why = _("taken back from the day's page")
    return arcs_unassign(arc_keys=list(keys), by=by, why=why, now=now)


@transaction.atomic
def stoppage_reason_give(*, stoppage_id: int, reason_code: str, by: User, note: str) -> None:
    """Gives a stoppage its reason, or another one."""
    stoppage = Stoppage.objects.filter(pk=stoppage_id).first()
    if stoppage is None:
        raise FloorError(_("There is no such stoppage any more."), _("Load the page again."))
    reason = reason_of(reason_code)
    if reason is None:
        raise FloorError(_("Which reason?"), _("Choose one from the list."))
    stoppage_explain(stoppage=stoppage, reason=reason, by=by, note=note)


@transaction.atomic
def add_shift_note(*, text: str, by: User, now: datetime) -> Action:
    """Leaves a line for those who come after, kept like a note from the floor."""
    said = " ".join(text.split())
    if not said:
        raise FloorError(_("The line is empty."), _("Write what the next shift must know."))
    if len(said) > LINE_LENGTH:
        raise FloorError(
            _("The line is {count} letters long; {line_length} fit.").format(
                count=len(said), line_length=LINE_LENGTH
            )
        )
    return Action.objects.create(
        kind="note",
        payload={"text": said},
        result={"text": said, "run": None},
        person=by,
        device_at=now,
        received_at=now,
        at=now,
    )


def _run(run_id: str, table: str) -> Run:
    try:
        run = Run.objects.select_related("table", "revision__nest").get(pk=uuid.UUID(run_id))
    except (ValueError, Run.DoesNotExist):
        raise FloorError(_("There is no such run."), _("Choose one from the list.")) from None
    if run.table.code != table:
        raise FloorError(
            _("That run was on {table}.").format(table=run.table.name),
            _("Choose a run on the same table as the arcs."),
        )
    return run


def _revision(revision_id: int | None, nest: str) -> NestRevision:
    rows = NestRevision.objects.select_related("nest__wear_set").order_by("-revision")
    named = rows.filter(nest__name=nest.strip()) if nest else rows.filter(pk=revision_id or 0)
    revision = named.first()
    if revision is None:
        raise FloorError(
            _("There is no nest {nest!r}.").format(nest=nest[:80]), _("Choose one from the list.")
        )
    return revision
