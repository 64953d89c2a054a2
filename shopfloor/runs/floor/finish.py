"""Finishing a sheet part by part. Two people who finish the same run are both kept."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from django.utils.translation import gettext as _

from shopfloor.actions.request import ActionRequest, number_of
from shopfloor.errors import FloorConflict, FloorError
from shopfloor.models import Action, ActionState, JobLine, Run, RunState, Sheet, Units, User
from shopfloor.runs.assigning import arcs_matched
from shopfloor.runs.floor.twice import run_counted_here
from shopfloor.runs.judging import judged_parts
from shopfloor.runs.part_counts import line_counts, parts_of_run, run_counts
from shopfloor.runs.parts import Judged, jobs_settle, parts_record
from shopfloor.runs.progress import progress_of
from shopfloor.runs.services import run_close
from shopfloor.stock.services import remnant_add
from shopfloor.wording.counts import count


def finish(request: ActionRequest) -> dict[str, Any]:
    run = run_counted_here(request) or request.require_run()
    elsewhere = request.place is not None and run.table_id != request.place.pk
    judged = judged_parts(run, request.payload, late=elsewhere)
    if run.state == RunState.FINISHED or elsewhere:
        raise FloorConflict(
            _("This sheet is cut on {table}.").format(table=run.table.name)
            if elsewhere
            else _("Somebody else finished this sheet."),
            _("Both counts are kept; the supervisor decides."),
            mine={
                "run": str(run.pk),
                "by": request.person.shown_name,
                "at": request.at.isoformat(),
                "parts": _summed(judged),
            },
            theirs=_standing(run),
        )
    parts_record(
        run=run,
        judged=judged,
        by=request.person,
        at=request.at,
        action=request.action,
        undo_record=request.undo_record,
    )
    unseen = good_unseen(run)
    if unseen:
        said = _("{parts} counted good, not seen cut").format(
            parts=count(unseen, "{n} part", "{n} parts")
        )
        request.undo_record.change(run, note=(f"{run.note} · {said}" if run.note else said)[-200:])
    remnant = None
    if not request.payload.get("partial"):
        remnant = _remnant(request, run)
        run_close(run=run, at=request.at, undo_record=request.undo_record)
        arcs_matched(table=run.table, start=run.opened_at, end=request.now, now=request.now)
    lines = sorted({part.line for part in judged})
    jobs_settle(lines=lines, at=request.at, corrected=False, undo_record=request.undo_record)
    heat = run.sheet.heat if run.sheet else None
    return {
        "run": str(run.pk),
        "parts": _shown(run, lines),
        "remnant": remnant.code if remnant else None,
        "heat_to_mark": heat.number if heat else None,
        "questions": [_("{said}: the supervisor sees it.").format(said=said)] if unseen else [],
    }


def good_unseen(run: Run) -> int:
    """Parts that are counted good though the signal saw fewer cut whole; 0 where none tells, or
    where it cannot say which contours it saw."""
    seen = progress_of(run)
    if not seen.listens or (seen.unplaced and not seen.done):
        return 0
    cut: dict[int, int] = {}
    for part in parts_of_run(run):
        wanted = [number for number in part.needs if number >= seen.first]
        whole = part.quantity if seen.done.issuperset(wanted) else 0
        cut[part.line] = cut.get(part.line, 0) + whole
    total = 0
    for line, made in run_counts(run).items():
        total += max(made["good"] - cut.get(line, 0), 0)
    return total


def _summed(judged: Sequence[Judged]) -> list[dict[str, Any]]:
    """By line; `entries` keeps cause and contour for the day somebody takes this side."""
    found: dict[int, dict[str, Any]] = {}
    for part in judged:
        row = found.setdefault(
            part.line, {"line": part.line, "good": 0, "scrap": 0, "rework": 0, "entries": []}
        )
        row[part.outcome] += part.quantity
        row["entries"].append([part.outcome, part.quantity, part.cause, part.contour])
    return list(found.values())


def _standing(run: Run) -> dict[str, Any]:
    """What stands on record for a finished run."""
    action = (
        Action.objects.filter(kind="finish", state=ActionState.APPLIED, result__run=str(run.pk))
        .select_related("person")
        .order_by("-at")
        .first()
    )
    last = run.results.select_related("by").order_by("-at", "-pk").first()
    person: User | None = action.person if action else last.by if last else None
    return {
        "run": str(run.pk),
        "action": str(action.pk) if action else None,
        "by": person.shown_name if person else "unknown",
        "at": run.closed_at.isoformat() if run.closed_at else None,
        "parts": [{"line": line, **counts} for line, counts in run_counts(run).items()],
    }


def _remnant(request: ActionRequest, run: Run) -> Sheet | None:
    wanted = request.payload.get("remnant")
    if not wanted:
        return None
    if not isinstance(wanted, dict):
        raise FloorError(_("The remnant's size cannot be read."))
    if run.sheet is None:
        raise FloorError(_("No sheet was scanned for this run."), _("A remnant needs its sheet."))
    length, width = number_of(wanted, "length_mm"), number_of(wanted, "width_mm")
    if length is None or width is None:
        raise FloorError(_("How large is the remnant?"), _("Give length and width."), ask="remnant")
    return remnant_add(
        sheet=run.sheet,
        length_mm=length,
        width_mm=width,
        area_mm2=number_of(wanted, "area_mm2"),
        place=str(wanted.get("place") or ""),
        code=str(wanted.get("code") or ""),
        at=request.at,
        inch=request.person.units == Units.INCH,
        undo_record=request.undo_record,
    )


def _shown(run: Run, lines: Sequence[int]) -> list[dict[str, Any]]:
    counts, made = line_counts(lines), run_counts(run)
    nothing = {"good": 0, "scrap": 0, "rework": 0}
    return [
        {
            "line": line.pk,
            "label": f"{line.job.number}/{line.number} {line.part}",
            **made.get(line.pk, nothing),
            "shortage": counts[line.pk].shortage,
        }
        for line in JobLine.objects.filter(pk__in=lines).select_related("job").order_by("pk")
    ]
