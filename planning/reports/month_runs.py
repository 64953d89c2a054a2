"""The runs of a month, with what the cost page says of them: from published rows alone."""

from __future__ import annotations

import uuid
from collections import defaultdict
from dataclasses import dataclass, field
from datetime import date
from typing import Any

from django.db.models import Exists, JSONField, OuterRef, QuerySet, Subquery, Value
from django.db.models.fields.json import KeyTransform

from planning.inputs.any_of import any_of
from planning.inputs.chunks import Ids, among, in_order
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


def month_run_ids(first: date, after: date) -> QuerySet[RunDay, uuid.UUID]:
    """Finished runs whose first shift date lies in [first, after), as a query to filter others by.
    One that goes on has no cost posted yet: its plan and its time would stand against nothing."""
    # Looked up run by run: asked whether any day was earlier, PostgreSQL reads all days before.
    own = RunDay.objects.filter(run=OuterRef("run")).order_by("shift_date")
    # Joined, SQLite would go through all finished runs there ever were.
    finished = Run.objects.filter(pk=OuterRef("run"), state=RunState.FINISHED)
    days = RunDay.objects.filter(shift_date__gte=first, shift_date__lt=after)
    began = days.annotate(began=Subquery(own.values("shift_date")[:1])).filter(began__gte=first)
    done = began.filter(Exists(finished))
    return done.order_by().values_list("run_id", flat=True)


def month_runs(
    ids: Ids, *, costs: bool = True, days: bool = True, terms: bool = True, **where: Any
) -> dict[uuid.UUID, MonthRun]:
    """Two queries for up to 400 runs, or for all that a query names; of these only runs that are
    as `where` says. A run with several sets counts for the one that burnt longest. Without `costs`
    what the plans say of money is left out: it stands in each run's whole plan, which is long to
    read. Without `days` duty and length of cut are, without `terms` the difference from its plan.
    """
    nothing = Value(None, output_field=JSONField())
    money = "plan__costs_minor" if costs else nothing
    variance = "variance__terms" if terms else nothing
    runs: dict[uuid.UUID, MonthRun] = {}
    rows = among(
        ids,
        lambda some: Run.objects.filter(**any_of("pk", some), **where).values_list(
            "pk",
            "revision__nest__material__code",
            "revision__nest__thickness_mm",
            "evidence",
            money,
            "sheet_id",
            "sheet__owner_id",
            "variance__elapsed_s",
            "variance__planned_s",
            variance,
            "variance__minor_per_hour",
        ),
    )
    for (
        pk,
        material,
        thickness,
        evidence,
        cost,
        sheet,
        owner,
        elapsed,
        planned,
        over_s,
        rate,
    ) in rows:
        runs[pk] = MonthRun(
            pk,
            material,
            thickness,
            elapsed_s=elapsed or 0.0,
            planned_s=planned if over_s else None,
            terms=over_s or {},
            minor_per_hour=rate,
            evidence=evidence,
            plan_minor=cost or {},
            sheet=sheet,
            customers_sheet=owner is not None,
        )
    if days:
        _add_days(runs, list(runs) if where else ids)
    return {pk: runs[pk] for pk in in_order(runs)}


def month_terms(ids: Ids, term: str) -> dict[uuid.UUID, MonthRun]:
    """Of these runs those that differ from their plan in a term, with no more than that: a month
    has thousands, and their nests, sheets and other terms take longer to read than its sum."""
    rows = among(
        ids,
        lambda some: (
            RunVariance.objects.filter(**any_of("run", some), terms__has_key=term)
            .order_by()
            .values_list("run_id", KeyTransform(term, "terms"), "minor_per_hour", "run__evidence")
        ),
    )
    runs = {
        pk: MonthRun(pk, "", 0.0, terms={term: over_s}, minor_per_hour=rate, evidence=evidence)
        for pk, over_s, rate, evidence in rows
    }
    return {pk: runs[pk] for pk in in_order(runs)}


def _add_days(runs: dict[uuid.UUID, MonthRun], ids: Ids) -> None:
    longest: dict[uuid.UUID, float] = defaultdict(lambda: -1.0)
    rows = among(
        ids,
        lambda some: (
            RunDay.objects.filter(**any_of("run", some))
            .order_by("shift_date", "pk")
            .values_list("run_id", "wear_set__duty", "arc_s", "cut_mm")
        ),
    )
    for run_id, duty, arc_s, cut_mm in rows:
        if run_id not in runs:  # figured between the two queries
            continue
        runs[run_id].cut_mm += cut_mm
        if arc_s > longest[run_id]:
            longest[run_id], runs[run_id].duty = arc_s, duty
