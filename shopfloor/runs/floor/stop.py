"""Stop, carry on, and why."""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import Any

from django.utils.translation import gettext as _

from shopfloor.actions.call import ActionRequest
from shopfloor.errors import FloorError
from shopfloor.models import Action, ActionState, Run, RunState, Segment, Stoppage
from shopfloor.runs.arcs import arcs_between, from_us, to_us
from shopfloor.runs.assigning import arcs_matched
from shopfloor.runs.services import run_restart
from shopfloor.runs.stoppages import reason_of, stoppage_close, stoppage_explain, stoppage_open

CLOCKS_DIFFER = timedelta(minutes=1)  # two entries of one screen, by two deliveries: our assumption


def stop(call: ActionRequest) -> dict[str, Any]:
    """The table stands still; the reason may follow. The run stays where it is."""
    run = call.run(required=False)
    table = run.table if run else call.table()
    stoppage = stoppage_open(
        table=table,
        run=run,
        at=_after_start(call, run),
        by=call.person,
        reason=reason_of(call.text("reason")),
        note=call.text("note"),
        memo=call.memo,
    )
    if run is not None and run.state == RunState.OPEN:
        call.memo.change(run, state=RunState.STOPPED)
    return {"stoppage": stoppage.pk, "run": str(run.pk) if run else None}


def _after_start(call: ActionRequest, run: Run | None) -> datetime:
    """When a stop was pressed; of one a little before its run began, when that began. Raises
    `FloorError` for one further before: the screen's clock was set in between."""
    run = run or _started_here(call)
    if run is None or call.at >= run.opened_at:
        return call.at
    if run.opened_at - call.at > CLOCKS_DIFFER:
        raise FloorError(
            _("By this screen's clock that stop came before its run began."),
            _("It is not stored. Check the clock, and enter the stop again."),
        )
    return run.opened_at


def _started_here(call: ActionRequest) -> Run | None:
    """The run this screen started before it sent this, by the order of its entries."""
    starts = Action.objects.filter(kind="start", state=ActionState.APPLIED, terminal=call.terminal)
    last = starts.order_by("-received_at", "-at").first() if call.terminal else None
    if last is None or last.at <= call.at:
        return None
    run = Run.objects.filter(pk=last.result.get("run"), table=call.table())
    return run.exclude(state__in=(RunState.FINISHED, RunState.VOIDED)).first()


def resume(call: ActionRequest) -> dict[str, Any]:
    """The table carries on. A run that had lapsed takes up the arcs since."""
    run = call.run(required=False)
    table = run.table if run else call.table()
    stoppage = Stoppage.objects.filter(table=table, ended_at=None, started_at__lte=call.at).first()
    seconds = None
    if stoppage is not None:
        seconds = stoppage_close(stoppage=stoppage, at=call.at, memo=call.memo)
    set_aside = run is not None and not run.segments.filter(end_reason="").exists()
    if run is not None and run.state == RunState.STOPPED and not set_aside:
        call.memo.change(run, state=RunState.OPEN)
    if run is not None and run.state == RunState.OPEN:
        last = run.segments.order_by("-started_at", "-pk").first()
        if last is not None and last.end_assumed and not last.end_reason:
            run_restart(
                run=run, at=_burning_since(call, last), operator=call.person, memo=call.memo
            )
        arcs_matched(table=table, start=run.opened_at, end=call.now, now=call.now)
    return {
        "stoppage": stoppage.pk if stoppage else None,
        "seconds": seconds,
        "run": str(run.pk) if run else None,
    }


def give_reason(call: ActionRequest) -> dict[str, Any]:
    number = call.number("stoppage")
    stoppage = Stoppage.objects.filter(pk=int(number or 0)).select_related("table").first()
    reason = reason_of(call.text("reason"))
    if stoppage is None:
        raise FloorError(_("That stop is not there any more."))
    call.belongs(_("That stop"), stoppage.table)
    if reason is None:
        raise FloorError(_("Which reason?"), _("Choose one from the list."), ask="reason")
    stoppage_explain(
        stoppage=stoppage, reason=reason, by=call.person, note=call.text("note"), memo=call.memo
    )
    arcs_matched(table=stoppage.table, start=stoppage.started_at, end=call.now, now=call.now)
    return {"stoppage": stoppage.pk, "reason": reason.code}


def _burning_since(call: ActionRequest, segment: Segment) -> Any:
    """The first arc after a segment lapsed, if the table burns again already."""
    ended_us = to_us(segment.ended_at or call.at)
    arcs = arcs_between(segment.torch.table, ended_us, to_us(call.at))
    mine = [arc.on_us for arc in arcs if arc.torch == segment.torch.code]
    return from_us(min(mine)) if mine else call.at
