"""Opening, interrupting and closing runs. A run is one nest burnt on one sheet; its segments say
who burnt which stretch of it with what."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from django.db import transaction
from django.db.models import Q
from django.utils.translation import gettext as _

from shopfloor.audit.undo_record import UndoRecord
from shopfloor.background.request import request_work
from shopfloor.errors import FloorError
from shopfloor.models import (
    Evidence,
    NestPlan,
    NestRevision,
    QueueItem,
    Run,
    RunState,
    Segment,
    Sheet,
    Stoppage,
    Table,
    Torch,
    User,
    WearSet,
)
from shopfloor.runs.arcs import arcs_between, arcs_by_key, from_us, table_listens, to_us
from shopfloor.runs.matching import union_us
from shopfloor.runs.matching_input import ASSIGNED, UNDONE
from shopfloor.runs.silences import silences_at_work
from shopfloor.site.queries import the_shop
from shopfloor.stock.services import sheet_state
from shopfloor.wear.fitted import set_fitted

REASONS = ("finish", "shift", "power", "crash", "rush", "change", "other")
COMPARED = ("cut_mm", "total_s", "load_s", "costs_minor", "problem")
NO_LONGER = {"set": {"state": "voided"}}


def plan_snapshot(revision: NestRevision, table: Table, wear_set: WearSet) -> dict[str, Any]:
    """The plan as it stands, to be kept with a run. Without one: `problem` says so. `sets` keeps
    what each set of the shop would have taken, by the set's id: what is compared later is then
    not judged by a chart or a rate that came after."""
    plans = {
        one.wear_set_id: one for one in NestPlan.objects.filter(revision=revision, table=table)
    }
    sets = {str(pk): {name: getattr(one, name) for name in COMPARED} for pk, one in plans.items()}
    plan = plans.get(wear_set.pk)
    if plan is None:
        problem = _("There was no plan for this table and set.")
        return {"wear_set": wear_set.code, "problem": problem, "sets": sets}
    fields = (
        "cut_mm", "travel_mm", "pierces", "cut_s", "pierce_s", "travel_s", "touch_off_s",
        "load_s", "total_s", "bench_min", "arcs_s", "costs_minor", "snapshot", "problem",
    )  # fmt: skip
    found = {name: getattr(plan, name) for name in fields}
    computed = plan.computed_at.isoformat()
    return {**found, "wear_set": wear_set.code, "computed_at": computed, "sets": sets}


@transaction.atomic
def run_open(
    *,
    revision: NestRevision,
    table: Table,
    torch: Torch,
    operator: User | None,
    at: datetime,
    sheet: Sheet | None = None,
    queue_item: QueueItem | None = None,
    wear_set: WearSet | None = None,
    swap_reason: str = "",
    first_contour: int = 1,
    evidence: str | None = None,
    undo_record: UndoRecord | None = None,
) -> Run:
    """Opens a run with its first segment. `wear_set` blank: what was fitted then, else
    the nest's. The
    plan is copied into the run: later changes of chart or rates leave it alone."""
    undo_record = undo_record or UndoRecord()
    fitted = wear_set or set_fitted(torch, at) or revision.nest.wear_set
    if evidence is None:
        evidence = Evidence.MEASURED if table_listens(table) else Evidence.ENTERED
    run = undo_record.create(
        Run(
            revision=revision,
            sheet=sheet,
            table=table,
            queue_item=queue_item,
            opened_at=at,
            evidence=evidence,
            plan=plan_snapshot(revision, table, fitted),
            swap_reason=swap_reason[:200],
        ),
        undo=NO_LONGER,
    )
    _segment_open(run, torch, fitted, operator, at, first_contour, undo_record)
    if queue_item is not None:
        undo_record.change(queue_item, state="running")
    if sheet is not None:
        sheet_state(sheet=sheet, state="on_table", undo_record=undo_record)
    request_work(kind="run", key=str(run.pk))
    return run


@transaction.atomic
def run_restart(
    *,
    run: Run,
    at: datetime,
    operator: User | None,
    contour: int | None = None,
    reason: str = "other",
    torch: Torch | None = None,
    undo_record: UndoRecord | None = None,
) -> Segment:
    """A new segment of a run: at a contour, or (None) at the one after the last burnt. The
    segment before ends at its last arc if nobody ended it. Of a run set aside after `at` the
    segment is split there, and the run stays set aside."""
    undo_record = undo_record or UndoRecord()
    _not_over(run)
    aside = _set_aside_after(run, at)
    if aside is None:
        _not_before(run, at)
    count = run.revision.contours.count()
    if contour is not None and not 1 <= contour <= max(count, 1):
        raise FloorError(
            _("This nest has contours 1 to {count}, not {contour}.").format(
                count=count, contour=contour
            )
        )
    before = run.segments.order_by("-started_at", "-pk").first()
    rest: dict[str, Any] = {}
    if aside is not None:
        last_us = last_arc_us(aside, before_us=to_us(at))
        ended_at = at if last_us is None else max(aside.started_at, min(from_us(last_us), at))
        before, rest = aside, _end_of(aside)
        undo_record.change(
            aside, ended_at=ended_at, end_reason=reason, end_assumed=last_us is not None
        )
    elif before is not None and not before.end_reason:
        # "change" would let the new segment follow on, but the contour was said.
        how = "other" if reason == "change" else reason
        segment_end(segment=before, at=at, reason=how, from_arcs=True, undo_record=undo_record)
    torch = torch or (before.torch if before else run.table.torches.order_by("code").first())
    if torch is None:
        raise FloorError(_("{table} has no torch.").format(table=run.table.name))
    fitted = set_fitted(torch, at) or (before.wear_set if before else run.revision.nest.wear_set)
    carries_on = contour is None and before is not None
    if carries_on and before is not None:
        contour = (before.last_contour or before.first_contour - 1) + 1
    segment = _segment_open(run, torch, fitted, operator, at, contour or 1, undo_record, carries_on)
    undo_record.change(segment, **rest)
    if aside is None:
        undo_record.change(run, state=RunState.OPEN)
    request_work(kind="run", key=str(run.pk))
    return segment


@transaction.atomic
def run_handover(
    *, run: Run, operator: User, at: datetime, undo_record: UndoRecord | None = None
) -> Segment:
    """Another person carries on: a new segment from the next contour, no pause between. Of a run
    set aside after `at` the segment is split there, and the run stays set aside."""
    undo_record = undo_record or UndoRecord()
    _not_over(run)
    aside = _set_aside_after(run, at)
    if aside is None:
        _not_before(run, at)
    before = aside or run.segments.order_by("-started_at", "-pk").first()
    rest = {} if aside is None else _end_of(aside)
    if before is None or (aside is None and (before.end_reason or before.ended_at is not None)):
        return run_restart(
            run=run, at=at, operator=operator, reason="shift", undo_record=undo_record
        )
    undo_record.change(before, ended_at=at, end_reason="shift", end_assumed=False)
    contour = (before.last_contour or before.first_contour - 1) + 1
    segment = _segment_open(run, before.torch, before.wear_set, operator, at, contour, undo_record)
    undo_record.change(segment, **rest)
    request_work(kind="run", key=str(run.pk))
    return segment


@transaction.atomic
def run_set_aside(
    *, run: Run, at: datetime, reason: str = "", undo_record: UndoRecord | None = None
) -> None:
    """The run is interrupted and waits: another nest is wanted on this table."""
    undo_record = undo_record or UndoRecord()
    for segment in run.segments.filter(end_reason=""):
        segment_end(segment=segment, at=at, reason=reason or "other", undo_record=undo_record)
    undo_record.change(run, state=RunState.STOPPED)
    request_work(kind="run", key=str(run.pk))


@transaction.atomic
def run_close(*, run: Run, at: datetime, undo_record: UndoRecord | None = None) -> None:
    """The sheet is done. Where nothing has burnt for the shop's gap, the run ends at its last
    arc and says that this is assumed."""
    undo_record = undo_record or UndoRecord()
    _not_over(run)
    for segment in run.segments.filter(end_reason=""):
        segment_end(segment=segment, at=at, reason="finish", undo_record=undo_record)
    last = run.segments.order_by("-started_at", "-pk").first()
    if last is not None and last.end_reason != "finish":
        # Set aside later than it was finished: the count came late.
        ended_at = min(last.ended_at or at, max(at, last.started_at))
        undo_record.change(last, end_reason="finish", ended_at=ended_at)
    closed_at = last.ended_at if last is not None and last.end_assumed and last.ended_at else at
    undo_record.change(run, state=RunState.FINISHED, closed_at=max(closed_at, run.opened_at))
    if run.queue_item is not None:
        undo_record.change(run.queue_item, state="done")
    if run.sheet is not None:
        sheet_state(sheet=run.sheet, state="cut", undo_record=undo_record)
    for stoppage in run.stoppages.filter(ended_at=None):
        undo_record.change(stoppage, ended_at=max(at, stoppage.started_at))
    request_work(kind="run", key=str(run.pk))


def segment_end(
    *, segment: Segment, at: datetime, reason: str, from_arcs: bool = False, undo_record: UndoRecord
) -> None:
    """Ends a segment at `at`, or at its last arc (assumed) where `from_arcs` says so or where
    nothing has burnt for the shop's gap, time with a given reason left out."""
    if reason not in REASONS:
        raise FloorError(
            _("{reason!r} is not a way for a stretch to end.").format(reason=reason),
            ", ".join(REASONS),
        )
    at = max(at, segment.started_at)
    stop = segment.run.stoppages.filter(ended_at=None).order_by("started_at").first()
    last_us = last_arc_us(segment)
    if stop is not None and from_arcs:
        at, assumed = max(stop.started_at, segment.started_at), False
    elif last_us is None or not (from_arcs or _lapsed(segment, last_us, to_us(at))):
        assumed = False
    else:
        at, assumed = max(from_us(last_us), segment.started_at), True
    undo_record.change(segment, ended_at=at, end_reason=reason, end_assumed=assumed)


def _set_aside_after(run: Run, at: datetime) -> Segment | None:
    """The last segment of a run, where `at` lies in it and the run has been set aside since."""
    if run.state != RunState.STOPPED:
        return None
    said = run.segments.exclude(end_reason__in=(UNDONE, ASSIGNED))
    last = said.order_by("-started_at", "-pk").first()
    if last is None or not last.end_reason or last.ended_at is None:
        return None
    return last if last.started_at <= at < last.ended_at else None


def _end_of(segment: Segment) -> dict[str, Any]:
    return {name: getattr(segment, name) for name in ("ended_at", "end_reason", "end_assumed")}


def last_arc_us(segment: Segment, *, before_us: int | None = None) -> int | None:
    """Where the last arc of a segment (that began before) ended (began, if it still burns); None
    without arcs."""
    keys = list(segment.assignments.values_list("arc_key", flat=True))
    arcs = [arc for arc in arcs_by_key(keys) if before_us is None or arc.on_us < before_us]
    return max((arc.on_us if arc.off_us is None else arc.off_us for arc in arcs), default=None)


def _lapsed(segment: Segment, last_us: int, at_us: int) -> bool:
    gap_us = the_shop().run_gap_s * 1_000_000
    given = Stoppage.objects.filter(table=segment.run.table, started_at__lt=from_us(at_us)).exclude(
        evidence=Evidence.MEASURED, reason=None
    )
    table = segment.run.table
    silent = silences_at_work(table, last_us, at_us, from_us(at_us)) if at_us > last_us else []
    explained = union_us(
        [
            (
                max(to_us(row.started_at), last_us),
                min(to_us(row.ended_at) if row.ended_at else at_us, at_us),
            )
            for row in given
            if row.ended_at is None or to_us(row.ended_at) > last_us
        ]
        + silent
    )
    if at_us - last_us - explained <= gap_us:
        return False
    return not _burnt_till_the_end(segment, last_us, at_us, gap_us)


def _burnt_till_the_end(segment: Segment, last_us: int, at_us: int, gap_us: int) -> bool:
    """Whether arcs after a long pause are this run's after all: they end where a person says the
    run ended, and no more of them than the nest still has contours."""
    arcs = [
        arc
        for arc in arcs_between(segment.run.table, last_us, at_us)
        if arc.torch == segment.torch.code
    ]
    if not arcs:
        return False
    end = max(arc.on_us if arc.off_us is None else arc.off_us for arc in arcs)
    missing = segment.run.revision.contours.count() - segment.assignments.count()
    return at_us - end <= gap_us and len(arcs) <= missing


def _segment_open(
    run: Run,
    torch: Torch,
    wear_set: WearSet,
    operator: User | None,
    at: datetime,
    contour: int,
    undo_record: UndoRecord,
    carries_on: bool = False,
) -> Segment:
    return undo_record.create(
        Segment(
            run=run,
            torch=torch,
            wear_set=wear_set,
            operator=operator,
            started_at=at,
            first_contour=contour,
            carries_on=carries_on,
        ),
        undo={
            "set": {
                "ended_at": at.isoformat(),
                "end_reason": UNDONE,
                "end_assumed": False,
            }
        },
    )


def _not_over(run: Run) -> None:
    if run.state == RunState.FINISHED:
        raise FloorError(_("That sheet is finished."), _("Open it again at the desk to change it."))
    if run.state == RunState.VOIDED:
        raise FloorError(_("That run was taken back."))


def _not_before(run: Run, at: datetime) -> None:
    """A late entry puts no stretch before one that began or was ended later: stretches would end
    before they begin, or hold the same time twice. Ends and stretches made from arcs have the
    control's clock, so they bar nobody."""
    said = run.segments.exclude(end_reason__in=(UNDONE, ASSIGNED))
    ended = Q(ended_at__gt=at, end_assumed=False)
    if said.filter(Q(started_at__gt=at) | ended).exists():
        raise FloorError(
            _(
                "By this screen's clock that came before the last start, "
                "stop or hand-over of its run."
            ),
            _("It is not stored. Check the clock, and enter it again if it still holds."),
        )
