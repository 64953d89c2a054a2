"""One sheet started on two tablets: it stays one run, and what the second tablet entered is kept
beside it for the supervisor."""

from __future__ import annotations

from uuid import UUID

from django.db.models import Q
from django.utils.translation import gettext as _

from shopfloor.actions.request import ActionRequest
from shopfloor.errors import FloorConflict, FloorError
from shopfloor.models import Action, NestRevision, QueueItem, Run, RunState
from shopfloor.runs.queries import runs_set_aside


def started_once(request: ActionRequest, item: QueueItem | None, revision: NestRevision) -> None:
    """Raises `FloorConflict` where the sheet of this start has a run already. One that was set
    aside is carried on, at its own table."""
    if item is not None and item.pk and item.state in ("running", "done"):
        run = _newest(Q(queue_item=item))
    else:
        run = _run_on_sheet(request, revision)
    if run is None:
        if item is not None and item.state == "done":
            raise FloorError(
                _("That nest is not in the queue any more."), _("Look at the queue again.")
            )
        return
    if runs_set_aside().filter(pk=run.pk).exists():
        request.belongs(_("That sheet"), run.table)
        return
    first = run.segments.select_related("operator").order_by("started_at", "pk").first()
    operator = first.operator.shown_name if first and first.operator else "unknown"
    raise FloorConflict(
        _("This sheet was started already, on {table}.").format(table=run.table.name),
        _("It stays one run. Both entries are kept; the supervisor decides."),
        mine=_side(run, request.person.shown_name, request.at.isoformat()),
        theirs=_side(run, operator, run.opened_at.isoformat()),
    )


def run_counted_here(request: ActionRequest) -> Run | None:
    """The run that a count without one means where this screen's last start was found to be a
    second one: that of the sheet, whichever table it runs on."""
    if request.text("run") or request.terminal is None:
        return None
    starts = Action.objects.filter(kind="start", terminal=request.terminal, at__lte=request.at)
    last = starts.exclude(state="undone").order_by("-at", "-received_at").first()
    run = (last.result.get("mine") or {}).get("run") if last is not None else None
    return Run.objects.select_related("table").filter(pk=UUID(run)).first() if run else None


def _run_on_sheet(request: ActionRequest, revision: NestRevision) -> Run | None:
    """A run of the same nest on the sheet that was scanned, at the time of this start."""
    scanned = request.text("sheet")
    if not scanned:
        return None
    there = Q(closed_at=None) | Q(closed_at__gte=request.at)
    return _newest(there & Q(sheet__code=scanned, revision__nest=revision.nest))


def _newest(which: Q) -> Run | None:
    runs = Run.objects.filter(which).exclude(state=RunState.VOIDED).select_related("table")
    return runs.defer("plan").order_by("-opened_at").first()


def _side(run: Run, by: str, at: str) -> dict[str, object]:
    return {"run": str(run.pk), "by": by, "at": at, "parts": []}
