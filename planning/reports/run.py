"""One run down to its contours and arcs."""

from __future__ import annotations

import uuid
from collections import defaultdict
from typing import Any

import pandas as pd
from django.core.exceptions import ValidationError
from django.db.models import OuterRef, Subquery, Sum
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_

from planning.calc.spent import ENTERED, UNKNOWN
from planning.calc.variance import PlannedTimes
from planning.inputs.plans import plan_times
from planning.inputs.runs import load_runs
from planning.inputs.types import RunIn
from planning.reports.frames import currency, frame
from planning.reports.shapes import Coverage, RunDetail
from shopfloor.models import (
    ArcAssignment,
    PieceUse,
    Posting,
    Run,
    RunState,
    RunVariance,
    Segment,
    Stoppage,
)
from shopfloor.runs.matching import ArcInput
from shopfloor.runs.program_names import programs_of
from telemetry.read_once import read_once

OVER = (RunState.FINISHED, RunState.VOIDED)


@read_once()
def run_detail(*, run_id: str) -> RunDetail:
    """One run in about twenty queries, however many arcs. Raises `LookupError` where there is no
    such run."""
    run = _find(run_id)
    [loaded] = load_runs(Run.objects.filter(pk=run.pk), now=timezone.now())
    variance = getattr(run, "variance", None)
    return RunDetail(
        run_id=str(run.pk),
        nest=run.revision.nest.name,
        revision=run.revision.revision,
        table=run.table.name,
        sheet=run.sheet.code if run.sheet else "",
        heat=run.sheet.heat.number if run.sheet and run.sheet.heat else "",
        state=run.state,
        evidence=run.evidence,
        opened_at=run.opened_at,
        closed_at=run.closed_at,
        planned_s=_planned_s(run, loaded, variance),
        elapsed_s=variance.elapsed_s if variance else None,
        misfires=variance.misfires if variance else None,
        segments=_segments(run),
        stoppages=_stoppages(run),
        contours=_contours(run, loaded),
        arcs=_arcs(loaded),
        terms=_terms(variance),
        lines=_lines(run),
        pieces=_pieces(run),
        plan=loaded.plan_fields,
        coverage=_coverage(variance, run.evidence),
        programs=_programs(run, loaded),
    )


def whole_plan(loaded: RunIn) -> PlannedTimes | None:
    """The plan of all of a run: while it goes on, `loaded.plan` is of what it has come to."""
    return plan_times(loaded.plan_fields, loaded.contours, ())


def _planned_s(run: Run, loaded: RunIn, variance: RunVariance | None) -> float | None:
    if run.state in OVER:
        return variance.planned_s if variance else None
    plan = whole_plan(loaded)
    return None if plan is None else plan.total_us / 1_000_000


def _find(run_id: str) -> Run:
    runs = Run.objects.select_related("revision__nest", "table", "sheet__heat", "variance")
    try:
        return runs.defer("revision__program").get(pk=uuid.UUID(str(run_id)))
    except (ValueError, ValidationError, Run.DoesNotExist):
        raise LookupError(f"there is no run {run_id}") from None


def _programs(run: Run, loaded: RunIn) -> tuple[str, ...]:
    arcs = [
        ArcInput(arc.key, run.table.code, arc.torch, arc.on_us, arc.off_us) for arc in loaded.arcs
    ]
    said = programs_of(run.table, arcs)
    return tuple(dict.fromkeys(said[arc.key] for arc in arcs if arc.key in said))


def _segments(run: Run) -> pd.DataFrame:
    rows = Segment.objects.filter(run=run).select_related("torch", "wear_set", "operator")
    return frame(
        "segment_id torch wear_set duty operator started_at ended_at first_contour last_contour "
        "end_reason end_assumed",
        [
            (
                row.pk,
                row.torch.code,
                str(row.wear_set),
                row.wear_set.duty,
                row.operator.shown_name if row.operator else "",
                row.started_at,
                row.ended_at,
                row.first_contour,
                row.last_contour,
                row.end_reason,
                row.end_assumed,
            )
            for row in rows
        ],
    )


def _stoppages(run: Run) -> pd.DataFrame:
    rows = Stoppage.objects.filter(run=run).select_related("reason")
    return frame(
        "stoppage_id reason planned started_at ended_at seconds evidence",
        [
            (
                row.pk,
                row.reason.label if row.reason else "",
                row.planned,
                row.started_at,
                row.ended_at,
                (row.ended_at - row.started_at).total_seconds() if row.ended_at else None,
                row.evidence,
            )
            for row in rows
        ],
    )


def _contours(run: Run, loaded: RunIn) -> pd.DataFrame:
    jobs = {
        number: (job, line)
        for number, job, line in run.revision.contours.exclude(line=None).values_list(
            "number", "line__job__number", "line__number"
        )
    }
    burnt: dict[int, list[float]] = defaultdict(list)
    for arc in loaded.arcs:
        if arc.contour is not None:
            burnt[arc.contour].append(arc.us / 1_000_000)
    plan = loaded.plan if run.state in OVER else whole_plan(loaded)
    planned = (plan.arc_by_contour_us if plan else None) or {}
    lost = {arc.contour for arc in loaded.arcs if arc.ended == "lost"}
    rows = []
    for contour in loaded.contours:
        own = burnt[contour.number]
        plan_us = planned.get(contour.number)
        rows.append(
            (
                contour.number,
                contour.part,
                *jobs.get(contour.number, ("", None)),
                None if plan_us is None else plan_us / 1_000_000,
                sum(own) if own else None,
                len(own),
                max(0, len(own) - 1),
                contour.cut_mm,
                _state(len(own), contour.number in lost, run.state),
            )
        )
    return frame("number part job line planned_s actual_s arcs repeats cut_mm state", rows)


def _state(arcs: int, lost: bool, state: str) -> str:
    if not arcs:
        return N_("not seen") if state in OVER else N_("not yet")
    if lost:
        return N_("end not seen")
    return "cut" if arcs == 1 else N_("cut again")


def _arcs(loaded: RunIn) -> pd.DataFrame:
    by_hand = dict(
        ArcAssignment.objects.filter(
            segment__in=[segment.pk for segment in loaded.segments], by__isnull=False
        ).values_list("arc_key", "by__username")
    )
    return frame(
        "arc_key torch on_us off_us seconds contour repeat ended pierces amps volts evidence by",
        [
            (
                arc.key,
                arc.torch,
                arc.on_us,
                arc.off_us,
                arc.us / 1_000_000,
                arc.contour,
                arc.repeat,
                arc.ended,
                arc.pierces,
                arc.amps,
                arc.volts,
                "entered" if arc.key in by_hand else "measured",
                by_hand.get(arc.key, ""),
            )
            for arc in loaded.arcs
        ],
    )


def _terms(variance: RunVariance | None) -> pd.DataFrame:
    """Where the time went. Without a plan there is no difference, only what was spent."""
    rows: list[tuple[Any, ...]] = []
    if variance is not None:
        names = list(dict.fromkeys([*variance.spent, *variance.planned_terms]))
        for name in names:
            plan = variance.planned_terms.get(name, 0.0) if variance.terms else None
            rows.append((name, plan, variance.spent.get(name, 0.0), variance.terms.get(name)))
    return frame("term planned_s actual_s over_s", rows)


def _lines(run: Run) -> pd.DataFrame:
    rows = (
        Posting.objects.filter(run=run)
        .order_by("line__job__number", "line__number", "kind")
        .values_list("line_id", "line__job__number", "line__number", "line__part", "kind")
        .annotate(all=Sum("amount_minor"))
    )
    return frame(
        "line_id job number part kind amount_minor",
        [
            (pk, job or _("the shop"), number, part or "", *rest)
            for pk, job, number, part, *rest in rows
        ],
        **currency(),
    )


def _pieces(run: Run) -> pd.DataFrame:
    paid = Posting.objects.filter(run=OuterRef("run"), piece=OuterRef("piece")).order_by()
    paid_of = paid.values("piece").annotate(all=Sum("amount_minor")).values("all")
    uses = PieceUse.objects.filter(run=run).select_related("piece__part")
    rows = uses.annotate(paid=Subquery(paid_of)).order_by("at", "pk")
    return frame(
        "piece_id label kind starts arc_s amount_minor",
        [
            (
                use.piece_id,
                use.piece.label,
                use.piece.part.kind,
                use.starts,
                use.arc_s,
                use.paid or 0,
            )
            for use in rows
        ],
        **currency(),
    )


def _coverage(variance: RunVariance | None, evidence: str) -> Coverage:
    if variance is None or not variance.elapsed_s:
        return Coverage()
    unknown = variance.spent.get(UNKNOWN, 0.0)
    known = variance.elapsed_s - unknown
    if variance.arc_s is None and evidence != "measured":
        return Coverage(entered=known, unknown=unknown)
    entered = sum(variance.spent.get(name, 0.0) for name in ENTERED)
    return Coverage(measured=known - entered, entered=entered, unknown=unknown)
