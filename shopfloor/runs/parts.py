"""Parts judged good, scrap or for rework, and what that means for jobs. Corrections are rows of
their own with a negative quantity."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime

from django.db import transaction
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_

from shopfloor.audit.undo_record import UndoRecord
from shopfloor.background.request import request_work
from shopfloor.errors import FloorError
from shopfloor.models import Action, Job, JobLine, JobState, PartResult, Run, User
from shopfloor.runs.part_counts import line_counts

OUTCOMES = ("good", "scrap", "rework")
LOST_CUT, WEAR_FAILED = N_("lost cut"), N_("wear part failed")
CAUSES = (
    N_("crash"),
    N_("tipped part"),
    LOST_CUT,
    N_("bevel"),
    N_("dross"),
    N_("size"),
    N_("position lost"),
    N_("plate"),
    WEAR_FAILED,
    N_("other"),
)
WORN = (WEAR_FAILED, LOST_CUT)  # what a failing wear part spoils is told as one of these


@dataclass(frozen=True, slots=True)
class Judged:
    """Parts of one line with one outcome."""

    line: int
    outcome: str
    quantity: int
    cause: str = ""
    contour: int | None = None


@transaction.atomic
def parts_record(
    *,
    run: Run,
    judged: Iterable[Judged],
    by: User,
    at: datetime,
    action: Action | None = None,
    undo_record: UndoRecord | None = None,
) -> list[PartResult]:
    """Writes down parts of a run. Scrap needs a cause: a later re-cut keeps it."""
    undo_record = undo_record or UndoRecord()
    rows = []
    for part in judged:
        if part.outcome not in OUTCOMES:
            raise FloorError(
                _("{outcome!r} is none of {outcomes}.").format(
                    outcome=part.outcome, outcomes=", ".join(OUTCOMES)
                )
            )
        if part.quantity < 0:
            raise FloorError(_("A count of parts is not below zero."))
        if part.outcome == "scrap" and part.quantity and not part.cause:
            raise FloorError(_("Why is it scrap?"), _("Choose a cause."), ask="cause")
        if not part.quantity:
            continue
        rows.append(
            undo_record.create(
                PartResult(
                    run=run,
                    line_id=part.line,
                    outcome=part.outcome,
                    quantity=part.quantity,
                    contour_number=part.contour,
                    cause=part.cause[:40],
                    by=by,
                    at=at,
                    action=action,
                ),
                undo={"negate": "quantity"},
            )
        )
    request_work(kind="run", key=str(run.pk))
    return rows


@transaction.atomic
def parts_cancel(
    *,
    run: Run,
    by: User,
    at: datetime,
    action: Action | None = None,
    keep: Action | None = None,
) -> None:
    """Answers everything judged of a run so far with rows that cancel it."""
    totals: dict[tuple[int, str, str, int | None], int] = {}
    for row in PartResult.objects.filter(run=run):
        key = (row.line_id, row.outcome, row.cause, row.contour_number)
        totals[key] = totals.get(key, 0) + row.quantity
    for (line, outcome, cause, contour), quantity in totals.items():
        if quantity:
            PartResult.objects.create(
                run=run,
                line_id=line,
                outcome=outcome,
                cause=cause,
                contour_number=contour,
                quantity=-quantity,
                by=by,
                at=at,
                action=action,
            )
    request_work(kind="run", key=str(run.pk))


@transaction.atomic
def job_close_if_met(*, job: Job, at: datetime, undo_record: UndoRecord | None = None) -> bool:
    """Closes an open job whose lines all have their good parts, without doubt about any. True
    where it did."""
    counts = line_counts(job.lines.values_list("pk", flat=True)).values()
    if job.state != JobState.OPEN or not counts or any(count.shortage_high for count in counts):
        return False
    (undo_record or UndoRecord()).change(job, state=JobState.CLOSED, closed_at=at)
    return True


@transaction.atomic
def job_reopen_if_short(*, job: Job, undo_record: UndoRecord | None = None) -> bool:
    """Opens a closed job again whose parts turned out short after a correction."""
    counts = line_counts(job.lines.values_list("pk", flat=True)).values()
    if job.state != JobState.CLOSED or not any(count.shortage_high for count in counts):
        return False
    (undo_record or UndoRecord()).change(job, state=JobState.OPEN, closed_at=None)
    return True


def jobs_settle(
    *, lines: Iterable[int], at: datetime, corrected: bool, undo_record: UndoRecord | None = None
) -> None:
    """Closes what is met among the jobs of these lines; after a correction opens what is
    short."""
    ids = JobLine.objects.filter(pk__in=list(lines)).values("job")
    for job in Job.objects.select_for_update().filter(pk__in=ids):
        if not job_close_if_met(job=job, at=at, undo_record=undo_record) and corrected:
            job_reopen_if_short(job=job, undo_record=undo_record)
