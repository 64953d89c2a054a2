"""Start, restart, hand over, note."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from django.utils import timezone
from django.utils.translation import gettext as _

from planning.calc.dates import timed
from shopfloor.actions.request import ActionRequest
from shopfloor.errors import FloorError
from shopfloor.models import (
    NestRevision,
    QueueItem,
    Reason,
    Run,
    RunState,
    Segment,
    Sheet,
    Stoppage,
    Table,
    Units,
)
from shopfloor.runs.assigning import arcs_matched
from shopfloor.runs.floor.sheet import (
    release_reservations,
    reserved_for,
    sheet_by_code,
    sheet_mismatch,
)
from shopfloor.runs.floor.since import began
from shopfloor.runs.floor.twice import started_once
from shopfloor.runs.matching_input import ASSIGNED, UNDONE
from shopfloor.runs.queries import current_run, set_aside_run
from shopfloor.runs.services import run_handover, run_open, run_restart, run_set_aside
from shopfloor.runs.stoppages import stoppage_close, stoppage_open
from shopfloor.wear.fitted import set_fitted
from shopfloor.wear.pieces import set_question
from shopfloor.wording.numbers_in import row_number


def start(request: ActionRequest) -> dict[str, Any]:
    """Opens a run, or carries a set-aside one on. What runs on the table is set aside: a start
    that came in late from a screen without network must not be lost."""
    table = request.table()
    torch = request.torch(table)
    item, revision = _what(request, table)
    started_once(request, item, revision)
    at = began(request, table)
    waiting = _waiting_run(request, item, revision, table)
    sheet, questions = _sheet(request, item, revision, waiting)
    release_reservations(request, sheet, item)
    if item is not None and item.table_id != table.pk:
        request.undo_record.change(item, table=table)  # scanned here, it waits there no more
    aside = _set_aside(request, table, waiting)
    for stoppage in Stoppage.objects.filter(table=table, ended_at=None, started_at__lte=at):
        stoppage_close(stoppage=stoppage, at=at, undo_record=request.undo_record)
    if waiting is not None:
        _last_matched(waiting, table, request.now)
        segment = run_restart(
            run=waiting,
            at=at,
            operator=request.person,
            torch=torch,
            undo_record=request.undo_record,
        )
        run = waiting
    else:
        run = run_open(
            revision=revision,
            table=table,
            torch=torch,
            operator=request.person,
            at=at,
            sheet=sheet,
            queue_item=item,
            swap_reason=request.text("swap_reason"),
            undo_record=request.undo_record,
        )
        segment = run.segments.get()
    late = _already_followed(request, run, at)
    arcs_matched(table=table, start=at, end=request.now, now=request.now)
    fitted = set_fitted(torch, at)
    question = set_question(fitted=fitted, wanted=revision.nest.wear_set)
    return {
        "run": str(run.pk),
        "segment": segment.pk,
        "nest": revision.nest.name,
        "sheet": sheet.code if sheet else None,
        "set_aside": str(aside.pk) if aside else None,
        "set_right": None if fitted is None else fitted.pk == revision.nest.wear_set_id,
        "questions": [*questions, *late, *([question] if question else [])],
    }


def restart_at(request: ActionRequest) -> dict[str, Any]:
    """Burns on at a contour. Time since the last arc is a stoppage, whoever forgot to press."""
    run = request.require_run()
    contour = request.number("contour")
    if contour is None or contour != int(contour):
        raise FloorError(_("At which contour?"), _("Tap it on the map."), ask="contour")
    other = current_run(run.table, request.at)
    if other is not None and other.pk != run.pk and other.state == RunState.OPEN:
        run_set_aside(run=other, at=request.at, reason="rush", undo_record=request.undo_record)
    before = run.segments.order_by("-started_at", "-pk").first()
    reason = request.text("reason") or "other"
    segment = run_restart(
        run=run,
        at=request.at,
        operator=request.person,
        contour=int(contour),
        reason=reason,
        undo_record=request.undo_record,
    )
    if before is not None:
        before.refresh_from_db()
        _stood(request, run, before.ended_at, reason)
    _already_followed(request, run, request.at)
    arcs_matched(table=run.table, start=run.opened_at, end=request.now, now=request.now)
    return {"run": str(run.pk), "segment": segment.pk, "first_contour": segment.first_contour}


def handover(request: ActionRequest) -> dict[str, Any]:
    """The run goes on under the name of who enters this: nobody is put there by somebody else."""
    run = request.require_run()
    operator = request.person
    if request.text("to") not in ("", operator.username, operator.badge):
        raise FloorError(_("Who takes over signs in with badge and PIN."), _("Touch Hand over."))
    segment = run_handover(
        run=run, operator=operator, at=request.at, undo_record=request.undo_record
    )
    _already_followed(request, run, request.at)
    arcs_matched(table=run.table, start=run.opened_at, end=request.now, now=request.now)
    return {"run": str(run.pk), "segment": segment.pk, "operator": operator.shown_name}


def note(request: ActionRequest) -> dict[str, Any]:
    text = request.text("text")
    if not text:
        raise FloorError(_("The note is empty."))
    run = request.run(required=False)
    if run is not None:
        joined = f"{run.note} · {text}" if run.note else text
        request.undo_record.change(run, note=joined[-200:])
    return {"run": str(run.pk) if run else None, "text": text}


def _what(request: ActionRequest, table: Table) -> tuple[QueueItem | None, NestRevision]:
    """The queue item and the revision to burn: the newest, unless one is named."""
    item = None
    number = request.number("queue_item")
    if number is not None:
        listed = QueueItem.objects.select_related("nest", "sheet", "table")
        item = listed.filter(pk=int(number)).first()
        if item is None or item.state == "dropped":
            raise FloorError(
                _("That nest is not in the queue any more."), _("Look at the queue again.")
            )
    revisions = NestRevision.objects.select_related("nest__wear_set", "nest__material")
    revision = request.number("revision")
    name = request.text("nest")
    if revision is not None:
        found = revisions.filter(pk=int(revision)).first()
    elif item is not None:
        found = revisions.filter(nest=item.nest).order_by("-revision").first()
    elif name:
        by_name = revisions.filter(nest__name=name).order_by("-revision").first()
        by_id = revisions.filter(nest=row_number(name) or 0)
        found = by_name or by_id.order_by("-revision").first()
    else:
        raise FloorError(_("Which nest?"), _("Choose it from the queue."), ask="nest")
    if found is None:
        raise FloorError(_("There is no such nest."), _("Look at the queue again."))
    if item is not None and found.nest_id != item.nest_id:
        raise FloorError(_("That program is another nest's."), _("Look at the queue again."))
    if item is None:
        waiting = QueueItem.objects.filter(nest=found.nest, table=table, state="waiting")
        item = waiting.order_by("position").first()
    return item, found


def _waiting_run(
    request: ActionRequest, item: QueueItem | None, revision: NestRevision, table: Table
) -> Run | None:
    """The half burnt sheet a start carries on. One that came from no list is known by its sheet:
    another sheet scanned is another run."""
    if item is not None and item.state != "running":
        return None
    found = set_aside_run(item=item, nest=revision.nest, table=table)
    if found is not None and item is None:
        scanned = request.text("sheet")
        if scanned and (found.sheet is None or found.sheet.code != scanned):
            return None
    return found


def _last_matched(run: Run, table: Table, now: datetime) -> None:
    """Arcs of the run's last segment that nobody has looked at yet: it goes on after them."""
    last = run.segments.order_by("-started_at", "-pk").first()
    if last is not None:
        arcs_matched(table=table, start=last.started_at, end=last.ended_at or now, now=now)


def _set_aside(request: ActionRequest, table: Table, waiting: Run | None) -> Run | None:
    running = current_run(table, request.at)
    if running is None or running == waiting or running.state not in ("open", "stopped"):
        return None
    run_set_aside(
        run=running,
        at=request.at,
        reason=request.text("aside_reason"),
        undo_record=request.undo_record,
    )
    return running


def _already_followed(request: ActionRequest, run: Run, at: datetime) -> list[str]:
    """What puts a run on the table and comes late, where the start of another was entered for a
    later time: that one has set this run aside, as if both had come in their order."""
    segments = Segment.objects.filter(run__table=run.table_id, started_at__gt=at)
    segments = segments.exclude(run=run).exclude(run__state=RunState.VOIDED)
    found = segments.exclude(end_reason__in=(UNDONE, ASSIGNED)).order_by("started_at")
    after = found.select_related("run__revision__nest").first()
    if after is None:
        return []
    run_set_aside(run=run, at=after.started_at, reason="rush", undo_record=request.undo_record)
    return [
        _("{nest} was started after it, at {started_at}: this one is set aside since then.").format(
            nest=after.run.revision.nest.name,
            started_at=timed(timezone.localtime(after.started_at)),
        )
    ]


def _sheet(
    request: ActionRequest, item: QueueItem | None, revision: NestRevision, waiting: Run | None
) -> tuple[Sheet | None, list[str]]:
    """The sheet that lies on the table: what was scanned, else what was planned."""
    expected = waiting.sheet if waiting else item.sheet if item else None
    scanned, inch = request.text("sheet"), request.person.units == Units.INCH
    if not scanned and (expected is None or waiting is not None):
        return expected, [_("The sheet was not scanned.")]
    if expected is not None and not scanned:
        sheet, why = expected, sheet_mismatch(expected, expected, revision, inch=inch)
    else:
        sheet = sheet_by_code(scanned, on_table=waiting.sheet_id if waiting is not None else None)
        why = sheet_mismatch(sheet, expected, revision, inch=inch) or reserved_for(sheet, item)
    if why and not request.text("swap_reason"):
        raise FloorError(
            why,
            _("Say why it is swapped, or lift the right one."),
            ask="swap_reason",
            details={"expected": expected.code if expected else None, "scanned": sheet.code},
        )
    return sheet, [
        said for said in (why, "" if scanned else _("The sheet was not scanned.")) if said
    ]


def _stood(request: ActionRequest, run: Run, since: Any, reason: str) -> None:
    """The time between: the open stoppage ends, or one is written from the last arc on."""
    standing = Stoppage.objects.filter(
        table=run.table, ended_at=None, started_at__lte=request.at
    ).first()
    named = Reason.objects.filter(code=reason, active=True).first()
    if standing is not None:
        if named is not None and standing.reason is None:
            request.undo_record.change(standing, reason=named, by=request.person)
        stoppage_close(stoppage=standing, at=request.at, undo_record=request.undo_record)
    elif since is not None and since < request.at:
        stoppage_open(
            table=run.table,
            run=run,
            at=since,
            ended_at=request.at,
            by=request.person,
            reason=named,
            note="" if named else reason,
            undo_record=request.undo_record,
        )
