"""Stop, carry on, and why."""

from __future__ import annotations

from typing import Any

from shopfloor.errors import FloorError
from shopfloor.models import RunState, Segment, Stoppage
from shopfloor.selectors.arcs import arcs_between, from_us, to_us
from shopfloor.services.assigning import arcs_matched
from shopfloor.services.handlers.call import Call
from shopfloor.services.runs import run_restart
from shopfloor.services.stoppages import (
    reason_of,
    stoppage_close,
    stoppage_explain,
    stoppage_open,
)


def stop(call: Call) -> dict[str, Any]:
    """The table stands still; the reason may follow. The run stays where it is."""
    run = call.run(required=False)
    table = run.table if run else call.table()
    stoppage = stoppage_open(
        table=table,
        run=run,
        at=call.at,
        by=call.person,
        reason=reason_of(call.text("reason")),
        note=call.text("note"),
        memo=call.memo,
    )
    if run is not None and run.state == RunState.OPEN:
        call.memo.change(run, state=RunState.STOPPED)
    return {"stoppage": stoppage.pk, "run": str(run.pk) if run else None}


def resume(call: Call) -> dict[str, Any]:
    """The table carries on. A run that had lapsed takes up the arcs since."""
    run = call.run(required=False)
    table = run.table if run else call.table()
    stoppage = Stoppage.objects.filter(table=table, ended_at=None, started_at__lte=call.at).first()
    seconds = None
    if stoppage is not None:
        seconds = stoppage_close(stoppage=stoppage, at=call.at, memo=call.memo)
    if run is not None and run.state == RunState.STOPPED:
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


def give_reason(call: Call) -> dict[str, Any]:
    number = call.number("stoppage")
    stoppage = Stoppage.objects.filter(pk=int(number or 0)).select_related("table").first()
    reason = reason_of(call.text("reason"))
    if stoppage is None:
        raise FloorError("That stop is not there any more.")
    call.belongs("That stop", stoppage.table)
    if reason is None:
        raise FloorError("Which reason?", "Choose one from the list.", ask="reason")
    stoppage_explain(
        stoppage=stoppage, reason=reason, by=call.person, note=call.text("note"), memo=call.memo
    )
    arcs_matched(table=stoppage.table, start=stoppage.started_at, end=call.now, now=call.now)
    return {"stoppage": stoppage.pk, "reason": reason.code}


def _burning_since(call: Call, segment: Segment) -> Any:
    """The first arc after a segment lapsed, if the table burns again already."""
    ended_us = to_us(segment.ended_at or call.at)
    arcs = arcs_between(segment.torch.table, ended_us, to_us(call.at))
    mine = [arc.on_us for arc in arcs if arc.torch == segment.torch.code]
    return from_us(min(mine)) if mine else call.at
