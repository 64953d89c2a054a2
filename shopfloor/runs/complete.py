"""Completing a run at the desk that nobody finished at the table."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from typing import Any
from uuid import UUID

from django.db import transaction
from django.utils.translation import gettext as _

from shopfloor.audit.actor import acting
from shopfloor.errors import FloorError
from shopfloor.models import Heat, Run, RunState, Sheet, SheetState, Units, User, WearSet
from shopfloor.runs.arcs import from_us
from shopfloor.runs.assigning import arcs_matched
from shopfloor.runs.judging import judged_parts
from shopfloor.runs.matching_input import UNDONE
from shopfloor.runs.parts import jobs_settle, parts_record
from shopfloor.runs.services import last_arc_us, plan_snapshot, run_close
from shopfloor.stock.plate_fit import plate_unfit
from shopfloor.stock.services import sheet_state


@transaction.atomic
def run_complete(
    *,
    run_id: UUID,
    parts: list[dict[str, Any]],
    sets: Mapping[int, WearSet],
    sheet: Sheet | None,
    heat: str,
    operator: User | None,
    by: User,
    now: datetime,
) -> Run:
    """Says what a run was burnt with (`sets` by segment id) and on, by whom, and what came of it,
    then finishes it where its last arc ended. Raises `FloorError` where it is over already."""
    run = Run.objects.select_for_update(of=("self",)).select_related("table").get(pk=run_id)
    if run.state not in (RunState.OPEN, RunState.STOPPED):
        raise FloorError(_("This run is {label} already.").format(label=RunState(run.state).label))
    judged = judged_parts(run, {"parts": parts})
    with acting(f"user:{by.get_username()}", why=_("completed at the desk")):
        _burnt_with(run, sets)
        _burnt_by(run, operator)
        _lay(run, sheet, heat, inch=by.units == Units.INCH)
        parts_record(run=run, judged=judged, by=by, at=now)
        run_close(run=run, at=_ended(run, now))
        arcs_matched(table=run.table, start=run.opened_at, end=now, now=now)
        jobs_settle(lines=sorted({part.line for part in judged}), at=now, corrected=False)
    return run


def _burnt_with(run: Run, sets: Mapping[int, WearSet]) -> None:
    for place, segment in enumerate(run.segments.exclude(end_reason=UNDONE)):
        wear_set = sets.get(segment.pk)
        if wear_set is None or wear_set.pk == segment.wear_set_id:
            continue
        segment.wear_set = wear_set
        segment.save(update_fields=["wear_set"])
        if not place:  # a run's plan is that of the set it began with
            run.plan = plan_snapshot(run.revision, run.table, wear_set)
            run.save(update_fields=["plan"])


def _burnt_by(run: Run, operator: User | None) -> None:
    if operator is not None:
        run.segments.filter(operator=None).update(operator=operator)


def _lay(run: Run, sheet: Sheet | None, heat: str, *, inch: bool) -> None:
    """Ties the run to its sheet, and the sheet to its heat where it has none yet."""
    if sheet is None:
        if heat:
            raise FloorError(_("A heat belongs to a sheet."), _("Choose the sheet."), ask="sheet")
        return
    if sheet.pk != run.sheet_id:
        if sheet.state != SheetState.IN_STOCK:
            raise FloorError(
                _("Sheet {sheet} is {label}.").format(
                    sheet=sheet.code, label=SheetState(sheet.state).label
                )
            )
        if said := plate_unfit(sheet, run.revision, run.revision.nest, inch=inch):
            raise FloorError(said)
        if run.sheet is not None:
            sheet_state(sheet=run.sheet, state=SheetState.IN_STOCK)
        run.sheet = sheet
        run.save(update_fields=["sheet"])
    if not heat or (sheet.heat and sheet.heat.number == heat):
        return
    if sheet.heat is not None:
        raise FloorError(
            _("Sheet {sheet} is of heat {heat}, not {wanted}.").format(
                sheet=sheet.code, heat=sheet.heat, wanted=heat
            )
        )
    sheet.heat, _made = Heat.objects.get_or_create(number=heat, material=sheet.material)
    sheet.save(update_fields=["heat"])


def _ended(run: Run, now: datetime) -> datetime:
    """Where its last arc ended; its last entered end where nothing was measured."""
    ends = [last_arc_us(segment) for segment in run.segments.exclude(end_reason=UNDONE)]
    measured = [from_us(end) for end in ends if end is not None]
    said = [one.ended_at for one in run.segments.all() if one.ended_at is not None]
    return max(measured or said, default=now)
