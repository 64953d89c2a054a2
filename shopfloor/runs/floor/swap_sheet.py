"""Another sheet than the run says, said while it is under way."""

from __future__ import annotations

from typing import Any

from django.utils.translation import gettext as _

from shopfloor.actions.request import ActionRequest
from shopfloor.errors import FloorError
from shopfloor.models import ArcAssignment, Run, Sheet, SheetState, Stoppage, Units
from shopfloor.runs.assigning import arcs_matched
from shopfloor.runs.floor.sheet import (
    release_reservations,
    reserved_for,
    sheet_by_code,
    sheet_mismatch,
)
from shopfloor.runs.part_counts import parts_of_run, run_counts
from shopfloor.runs.parts import Judged, jobs_settle
from shopfloor.runs.stoppages import stoppage_close
from shopfloor.runs.swap_sheet import sheet_changed, sheet_corrected

PLATE = "plate"  # the cause of parts that are scrap because of what they were cut from


def swap_sheet(request: ActionRequest) -> dict[str, Any]:
    """Payload: `sheet`, `swap_reason`, `since`: "start" (the books were wrong from the first
    contour on) or "now" (the plate was changed: `contour` it goes on with, and whether what was
    cut before is `good` or `scrap`)."""
    run = request.require_run()
    scanned, why, since = request.text("sheet"), request.text("swap_reason"), request.text("since")
    if not scanned:
        raise FloorError(_("Which sheet is on the table?"), _("Scan it."), ask="sheet")
    if not why:
        raise FloorError(_("Why another sheet?"), _("It stays with the run."), ask="swap_reason")
    if since not in ("start", "now"):
        raise FloorError(_("Since when does it lie there?"), _("From the start, or from now on."))
    sheet = sheet_by_code(scanned, on_table=run.sheet_id)
    inch = request.person.units == Units.INCH
    asked = [said for said in (sheet_mismatch(sheet, None, run.revision, inch=inch),) if said]
    asked += [said for said in (reserved_for(sheet, run.queue_item, taken=True),) if said]
    release_reservations(request, sheet, run.queue_item)
    was = run.sheet
    told = [
        _("Heat {heat} goes with this run now.").format(
            heat=sheet.heat.number if sheet.heat else "unknown"
        )
    ]
    if since == "start":
        was = sheet_corrected(run=run, sheet=sheet, why=why, undo_record=request.undo_record)
        if was is not None and was.state == SheetState.IN_STOCK:
            told.append(
                _("Sheet {was} is {label} again.").format(
                    was=was.code, label=SheetState(was.state).label
                )
            )
        now_run = run
    else:
        now_run = _changed(request, run, sheet, why)
    return {
        "run": str(now_run.pk),
        "sheet": sheet.code,
        "was": was.code if was else None,
        "first_run": str(run.pk),
        "heat_to_mark": was.heat.number if since == "now" and was and was.heat else None,
        "remnant": was.code if was else None,
        "questions": asked,
        "told": told,
    }


def _changed(request: ActionRequest, run: Run, sheet: Sheet, why: str) -> Run:
    contour = request.number("contour")
    if contour is None or contour != int(contour):
        raise FloorError(_("At which contour does the new plate begin?"), ask="contour")
    cut = request.text("cut")
    if cut not in ("good", "scrap"):
        raise FloorError(_("What was cut from the old plate: good or scrap?"), ask="cut")
    judged = _cut_before(run, int(contour), cut)
    second = sheet_changed(
        run=run,
        sheet=sheet,
        why=why,
        first_contour=int(contour),
        judged=judged,
        by=request.person,
        at=request.at,
        action=request.action,
        undo_record=request.undo_record,
    )
    for stoppage in Stoppage.objects.filter(table=run.table, ended_at=None):
        stoppage_close(stoppage=stoppage, at=request.at, undo_record=request.undo_record)
    arcs_matched(table=run.table, start=run.opened_at, end=request.now, now=request.now)
    jobs_settle(
        lines={part.line for part in judged},
        at=request.at,
        corrected=False,
        undo_record=request.undo_record,
    )
    return second


def _cut_before(run: Run, contour: int, cut: str) -> list[Judged]:
    """Parts that were whole on the old plate, less what was counted of them already: those all of
    whose contours come before the new plate's first; of parts to be scrapped also those seen
    burnt beyond it."""
    burnt = set(
        ArcAssignment.objects.filter(segment__run=run)
        .exclude(contour_number=None)
        .values_list("contour_number", flat=True)
    )
    counted = {line: sum(counts.values()) for line, counts in run_counts(run).items()}
    whole: dict[int, int] = {}
    for part in parts_of_run(run):
        before = max(part.needs) < contour
        if before or (cut == "scrap" and burnt.issuperset(part.needs)):
            whole[part.line] = whole.get(part.line, 0) + part.quantity
    cause = PLATE if cut == "scrap" else ""
    return [
        Judged(line, cut, max(count - counted.get(line, 0), 0), cause)
        for line, count in sorted(whole.items())
    ]
