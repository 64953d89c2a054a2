"""The runs of a month, with what the cost page says of them: from published rows alone."""

from __future__ import annotations

import uuid
from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import date

from django.db.models import Min

from planning.inputs.chunks import chunked
from shopfloor.models import Run, RunDay, RunState, RunVariance


@dataclass
class MonthRun:
    run_id: uuid.UUID
    material: str
    thickness_mm: float
    duty: str = ""
    cut_mm: float = 0.0
    elapsed_s: float = 0.0
    planned_s: float | None = None
    terms: dict[str, float] = field(default_factory=dict)
    minor_per_hour: int | None = None
    plan_minor: dict[str, int] = field(default_factory=dict)
    evidence: str = ""
    customers_sheet: bool = False
    sheet: int | None = None

    @property
    def compared(self) -> bool:
        """Whether a plan of its time and of its money stands against what it took."""
        return self.planned_s is not None and bool(self.plan_minor)


def month_run_ids(first: date, after: date) -> list[uuid.UUID]:
    """Finished runs whose first shift date lies in [first, after). One that goes on has no cost
    posted yet: its plan and its time would stand against nothing."""
    done = RunDay.objects.filter(run__state=RunState.FINISHED).order_by()
    begun = done.values("run_id").annotate(first=Min("shift_date"))
    return list(begun.filter(first__gte=first, first__lt=after).values_list("run_id", flat=True))


def month_runs(ids: Iterable[uuid.UUID]) -> dict[uuid.UUID, MonthRun]:
    """Three queries for up to 400 runs. A run with several sets counts for the one that burnt
    longest."""
    ids = sorted(set(ids))
    runs: dict[uuid.UUID, MonthRun] = {}
    rows = chunked(
        ids,
        lambda some: Run.objects.filter(pk__in=some).values_list(
            "pk",
            "revision__nest__material__code",
            "revision__nest__thickness_mm",
            "evidence",
            "plan__costs_minor",
            "sheet_id",
            "sheet__owner_id",
        ),
    )
    for pk, material, thickness, evidence, costs, sheet, owner in rows:
        runs[pk] = MonthRun(
            pk,
            material,
            thickness,
            evidence=evidence,
            plan_minor=costs or {},
            sheet=sheet,
            customers_sheet=owner is not None,
        )
    _add_days(runs, ids)
    rows = chunked(
        ids,
        lambda some: RunVariance.objects.filter(run__in=some).values_list(
            "run_id", "elapsed_s", "planned_s", "terms", "minor_per_hour"
        ),
    )
    for run_id, elapsed, planned, terms, rate in rows:
        run = runs[run_id]
        run.elapsed_s, run.planned_s = elapsed or 0.0, planned if terms else None
        run.terms, run.minor_per_hour = terms, rate
    return runs


def _add_days(runs: dict[uuid.UUID, MonthRun], ids: list[uuid.UUID]) -> None:
    longest: dict[uuid.UUID, float] = defaultdict(lambda: -1.0)
    rows = chunked(
        ids,
        lambda some: (
            RunDay.objects.filter(run__in=some)
            .order_by("shift_date", "pk")
            .values_list("run_id", "wear_set__duty", "arc_s", "cut_mm")
        ),
    )
    for run_id, duty, arc_s, cut_mm in rows:
        runs[run_id].cut_mm += cut_mm
        if arc_s > longest[run_id]:
            longest[run_id], runs[run_id].duty = arc_s, duty
