"""Another sheet under a run that has begun: the books named the wrong one, or the plate itself was
changed. What was booked on the first is answered by entries, never edited away."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime

from django.db import transaction
from django.utils.translation import gettext as _

from shopfloor.audit.undo_record import UndoRecord
from shopfloor.background.request import request_work
from shopfloor.errors import FloorError
from shopfloor.models import Action, Run, RunState, Sheet, SheetState, User
from shopfloor.runs.parts import Judged, parts_record
from shopfloor.runs.services import run_close, run_open
from shopfloor.stock.services import sheet_state


@transaction.atomic
def sheet_corrected(
    *, run: Run, sheet: Sheet, why: str, undo_record: UndoRecord | None = None
) -> Sheet | None:
    """The whole run was burnt on another sheet than the books say. Heat, stock and cost follow;
    the sheet named before goes back to stock unless another run burnt on it. Returns that one."""
    undo_record = undo_record or UndoRecord()
    before = _another(run, sheet, finished=True)
    if before is not None and before.remnants.exists() and not _burnt_by_others(before, run):
        raise FloorError(
            _("What is left of sheet {before} is in stock already.").format(before=before.code),
            _("The office puts it right on that sheet's page."),
        )
    undo_record.change(run, sheet=sheet, swap_reason=why[:200])
    if run.queue_item is not None:
        undo_record.change(run.queue_item, sheet=sheet)
    lies = SheetState.CUT if run.state == RunState.FINISHED else SheetState.ON_TABLE
    sheet_state(sheet=sheet, state=lies, undo_record=undo_record)
    if before is not None:
        burnt = _burnt_by_others(before, run)
        sheet_state(
            sheet=before,
            state=SheetState.CUT if burnt else SheetState.IN_STOCK,
            undo_record=undo_record,
        )
    _wanted(run, before, sheet)
    return before


@transaction.atomic
def sheet_changed(
    *,
    run: Run,
    sheet: Sheet,
    why: str,
    first_contour: int,
    judged: Sequence[Judged],
    by: User,
    at: datetime,
    action: Action | None = None,
    undo_record: UndoRecord | None = None,
) -> Run:
    """The plate was taken off and another put down. A run is one nest on one sheet: the first ends
    here with the parts it made, and another begins on the new sheet at `first_contour`, for the
    same place on the list. Returns the second."""
    undo_record = undo_record or UndoRecord()
    _another(run, sheet)
    last = run.segments.order_by("-started_at", "-pk").first()
    torch = last.torch if last else run.table.torches.order_by("code").first()
    if torch is None:
        raise FloorError(_("{table} has no torch.").format(table=run.table.name))
    count = run.revision.contours.count()
    if not 1 <= first_contour <= max(count, 1):
        raise FloorError(
            _("This nest has contours 1 to {count}, not {first_contour}.").format(
                count=count, first_contour=first_contour
            )
        )
    parts_record(run=run, judged=judged, by=by, at=at, action=action, undo_record=undo_record)
    run_close(run=run, at=at, undo_record=undo_record)
    if last is not None:
        last.refresh_from_db()
        undo_record.change(last, end_reason="change")  # the nest did not end with this plate
    if run.queue_item is not None:
        undo_record.change(run.queue_item, sheet=sheet)
    return run_open(
        revision=run.revision,
        table=run.table,
        torch=torch,
        operator=last.operator if last and last.operator else by,
        at=at,
        sheet=sheet,
        queue_item=run.queue_item,
        swap_reason=why,
        first_contour=first_contour,
        undo_record=undo_record,
    )


def _another(run: Run, sheet: Sheet, *, finished: bool = False) -> Sheet | None:
    if run.state == RunState.VOIDED:
        raise FloorError(_("That run was taken back."))
    if run.state == RunState.FINISHED and not finished:
        raise FloorError(
            _("That sheet is finished."), _("Nothing of it is cut from another plate now.")
        )
    if run.sheet_id == sheet.pk:
        raise FloorError(
            _("The run is on sheet {sheet} already.").format(sheet=sheet.code),
            _("Scan the other one."),
        )
    return run.sheet


def _burnt_by_others(sheet: Sheet, run: Run) -> bool:
    return sheet.runs.exclude(pk=run.pk).exclude(state=RunState.VOIDED).exists()


def _wanted(run: Run, *sheets: Sheet | None) -> None:
    """Costs of every run that shares a sheet with this one change with it."""
    touched = [sheet.pk for sheet in sheets if sheet is not None]
    for key in {run.pk, *Run.objects.filter(sheet__in=touched).values_list("pk", flat=True)}:
        request_work(kind="run", key=str(key))
