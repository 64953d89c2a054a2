"""Stop, carry on, and why."""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import Any

from django.utils.translation import gettext as _

from shopfloor.actions.request import ActionRequest
from shopfloor.errors import FloorError
from shopfloor.models import Action, ActionState, Run, RunState, Segment, Stoppage
from shopfloor.runs.arcs import arcs_between, from_us, to_us
from shopfloor.runs.assigning import arcs_matched
from shopfloor.runs.services import run_restart
from shopfloor.runs.stoppages import reason_of, stoppage_close, stoppage_explain, stoppage_open

CLOCKS_DIFFER = timedelta(minutes=1)  # two entries of one screen, by two deliveries: our assumption


def stop(request: ActionRequest) -> dict[str, Any]:
    """The table stands still; the reason may follow. The run stays where it is."""
    run = request.run(required=False)
    table = run.table if run else request.table()
    stoppage = stoppage_open(
        table=table,
        run=run,
        at=_after_start(request, run),
        by=request.person,
        reason=reason_of(request.text("reason")),
        note=request.text("note"),
        undo_record=request.undo_record,
    )
    if run is not None and run.state == RunState.OPEN:
        request.undo_record.change(run, state=RunState.STOPPED)
    return {"stoppage": stoppage.pk, "run": str(run.pk) if run else None}


def _after_start(request: ActionRequest, run: Run | None) -> datetime:
    """When a stop was pressed; of one a little before its run began, when that began. Raises
    `FloorError` for one further before: the screen's clock was set in between."""
    run = run or _started_here(request)
    if run is None or request.at >= run.opened_at:
        return request.at
    if run.opened_at - request.at > CLOCKS_DIFFER:
        raise FloorError(
            _("By this screen's clock that stop came before its run began."),
            _("It is not stored. Check the clock, and enter the stop again."),
        )
    return run.opened_at


def _started_here(request: ActionRequest) -> Run | None:
    """The run this screen started before it sent this, by the order of its entries."""
    starts = Action.objects.filter(
        kind="start", state=ActionState.APPLIED, terminal=request.terminal
    )
    last = starts.order_by("-received_at", "-at").first() if request.terminal else None
    if last is None or last.at <= request.at:
        return None
    run = Run.objects.filter(pk=last.result.get("run"), table=request.table())
    return run.exclude(state__in=(RunState.FINISHED, RunState.VOIDED)).first()


def resume(request: ActionRequest) -> dict[str, Any]:
    """The table carries on. A run that had lapsed takes up the arcs since."""
    run = request.run(required=False)
    table = run.table if run else request.table()
    stoppage = Stoppage.objects.filter(
        table=table, ended_at=None, started_at__lte=request.at
    ).first()
    seconds = None
    if stoppage is not None:
        seconds = stoppage_close(stoppage=stoppage, at=request.at, undo_record=request.undo_record)
    set_aside = run is not None and not run.segments.filter(end_reason="").exists()
    if run is not None and run.state == RunState.STOPPED and not set_aside:
        request.undo_record.change(run, state=RunState.OPEN)
    if run is not None and run.state == RunState.OPEN:
        last = run.segments.order_by("-started_at", "-pk").first()
        if last is not None and last.end_assumed and not last.end_reason:
            run_restart(
                run=run,
                at=_burning_since(request, last),
                operator=request.person,
                undo_record=request.undo_record,
            )
        arcs_matched(table=table, start=run.opened_at, end=request.now, now=request.now)
    return {
        "stoppage": stoppage.pk if stoppage else None,
        "seconds": seconds,
        "run": str(run.pk) if run else None,
    }


def give_reason(request: ActionRequest) -> dict[str, Any]:
    number = request.number("stoppage")
    stoppage = Stoppage.objects.filter(pk=int(number or 0)).select_related("table").first()
    reason = reason_of(request.text("reason"))
    if stoppage is None:
        raise FloorError(_("That stop is not there any more."))
    request.belongs(_("That stop"), stoppage.table)
    if reason is None:
        raise FloorError(_("Which reason?"), _("Choose one from the list."), ask="reason")
    stoppage_explain(
        stoppage=stoppage,
        reason=reason,
        by=request.person,
        note=request.text("note"),
        undo_record=request.undo_record,
    )
    arcs_matched(table=stoppage.table, start=stoppage.started_at, end=request.now, now=request.now)
    return {"stoppage": stoppage.pk, "reason": reason.code}


def _burning_since(request: ActionRequest, segment: Segment) -> Any:
    """The first arc after a segment lapsed, if the table burns again already."""
    ended_us = to_us(segment.ended_at or request.at)
    arcs = arcs_between(segment.torch.table, ended_us, to_us(request.at))
    mine = [arc.on_us for arc in arcs if arc.torch == segment.torch.code]
    return from_us(min(mine)) if mine else request.at
