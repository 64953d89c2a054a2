"""What finished runs took against their plan, fit to learn from; the others are counted by why."""

from __future__ import annotations

import math
import uuid
from collections import Counter, defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta

from django.db.models import Count, Min
from django.utils.translation import gettext_noop as N_

from planning.calc.spent import ENTERED_BURNING, ENTERED_REST
from planning.inputs.chunks import chunked
from shopfloor.models import Contour, Run, RunDay, RunState, RunVariance, Segment

HISTORY = timedelta(days=365)  # our assumption: older runs are of another shop
KNOWN_SHARE = 0.95  # our assumption: with more unknown time than this a run teaches nothing

ENTERED = N_("entered, not measured")
PARTIAL = N_("part of a nest, or begun again, and not reconciled")
UNPLANNED = N_("without a plan")
UNHEARD = N_("with time nobody knows")
SETS = N_("burnt with more than one set")

Cell = tuple[int, int, float]  # set, material, thickness in mm to the hundredth


@dataclass(frozen=True, slots=True)
class TrainingRun:
    """A run: its cell and shift date, planned and elapsed seconds; `moving_s` leaves out stoppages,
    which have a reason of their own and say nothing of the plan."""

    run_id: uuid.UUID
    cell: Cell
    day: date
    planned_s: float
    elapsed_s: float
    moving_s: float

    @property
    def month(self) -> str:
        return f"{self.day:%Y-%m}"

    @property
    def log_moving(self) -> float:
        return math.log(self.moving_s / self.planned_s)


@dataclass
class TrainingRuns:
    runs: list[TrainingRun] = field(default_factory=list)
    left_out: Counter[str] = field(default_factory=Counter)


def cell_of(wear_set: int, material: int, thickness_mm: float) -> Cell:
    return wear_set, material, round(thickness_mm, 2)


def taken_runs(*, now: datetime) -> TrainingRuns:
    """Finished runs of the last year, oldest first, in five queries or a few more. Entered runs
    never teach; a partial one (begun again, or short of the last contour) only where every stretch
    says how far it came and none of the ends was assumed."""
    rows = list(
        RunVariance.objects.filter(run__state=RunState.FINISHED, run__opened_at__gte=now - HISTORY)
        .order_by("run__opened_at", "run_id")
        .values_list(
            "run_id", "run__evidence", "run__revision_id",
            "run__revision__nest__material_id", "run__revision__nest__thickness_mm",
            "planned_s", "elapsed_s", "spent", "coverage", "arcs",
        )
    )  # fmt: skip
    found = TrainingRuns()
    ids = [row[0] for row in rows]
    segments, days = _segments(ids), _days(ids)
    contours = _contours({row[2] for row in rows})
    planned_by_contour = _by_contour(
        [row[0] for row in rows if short_of(segments.get(row[0], []), contours.get(row[2], 0))]
    )
    for run, evidence, revision, material, thickness, planned, elapsed, spent, share, arcs in rows:
        own = segments.get(run, [])
        count = contours.get(revision, 0)
        share = _heard(share, elapsed, spent or {})
        why = _unfit(evidence, arcs, planned, elapsed, share, own, count, run in planned_by_contour)
        moving = (elapsed or 0.0) - (spent or {}).get("stoppages", 0.0)
        if why or not planned or not elapsed or moving <= 0:
            found.left_out[why or UNHEARD] += 1
            continue
        cell = cell_of(own[0].wear_set_id, material, thickness)
        found.runs.append(TrainingRun(run, cell, days[run], planned, elapsed, moving))
    return found


def _heard(share: float | None, elapsed: float | None, spent: Mapping[str, float]) -> float | None:
    """The known share of a run's time without what was entered for a silence."""
    if share is None or not elapsed:
        return share
    return share - (spent.get(ENTERED_BURNING, 0.0) + spent.get(ENTERED_REST, 0.0)) / elapsed


def _unfit(
    evidence: str,
    arcs: int | None,
    planned: float | None,
    elapsed: float | None,
    share: float | None,
    own: list[Segment],
    contours: int,
    by_contour: bool,
) -> str:
    if evidence != "measured" or not arcs:
        return ENTERED
    if not planned or not elapsed or not own:
        return UNPLANNED
    if share is None or share < KNOWN_SHARE:
        return UNHEARD
    if len({segment.wear_set_id for segment in own}) > 1:
        return SETS
    return "" if reconciled(own, contours, by_contour) else PARTIAL


def reconciled(own: list[Segment], contours: int, by_contour: bool) -> bool:
    """Whether it is certain what was cut, and the plan is of just that: a run in one stretch that
    was finished, or stretches that all say how far they came; where they leave contours out, only
    with a plan that is known contour by contour."""
    if any(segment.end_assumed for segment in own):
        return False
    if len(own) == 1 and own[0].last_contour is None:
        return own[0].first_contour <= 1 and own[0].end_reason in ("", "finish")
    if any(segment.last_contour is None for segment in own):
        return False
    return not short_of(own, contours) or by_contour


def short_of(own: list[Segment], contours: int) -> bool:
    """Whether the stretches leave out a contour."""
    covered = {
        number
        for segment in own
        for number in range(segment.first_contour, (segment.last_contour or contours) + 1)
    }
    return len(covered) < contours


def _segments(ids: Iterable[uuid.UUID]) -> dict[uuid.UUID, list[Segment]]:
    found: dict[uuid.UUID, list[Segment]] = defaultdict(list)
    rows = chunked(
        list(ids),
        lambda some: (
            Segment.objects.filter(run__in=some)
            .order_by("started_at", "pk")
            .only(
                "run_id", "wear_set_id", "first_contour", "last_contour", "end_reason",
                "end_assumed",
            )
        ),
    )  # fmt: skip
    for segment in rows:
        found[segment.run_id].append(segment)
    return found


def _days(ids: Iterable[uuid.UUID]) -> dict[uuid.UUID, date]:
    rows = chunked(
        list(ids),
        lambda some: (
            RunDay.objects.filter(run__in=some)
            .order_by()
            .values("run_id")
            .annotate(first=Min("shift_date"))
            .values_list("run_id", "first")
        ),
    )
    return dict(rows)


def _contours(revisions: Iterable[int]) -> dict[int, int]:
    rows = chunked(
        sorted(revisions),
        lambda some: (
            Contour.objects.filter(revision__in=some)
            .order_by()
            .values("revision_id")
            .annotate(count=Count("pk"))
            .values_list("revision_id", "count")
        ),
    )
    return dict(rows)


def _by_contour(ids: Iterable[uuid.UUID]) -> set[uuid.UUID]:
    """Of these runs, the ones whose plan is known contour by contour."""
    rows = chunked(
        list(ids),
        lambda some: Run.objects.filter(pk__in=some).values_list(
            "pk", "plan__snapshot__contours__pierce_s"
        ),
    )
    return {run for run, each in rows if each}
