"""What the runs of some days come to by table, summed by the database: thirteen weeks of ten
tables are ten thousand runs. Beside it the same run by run, for a figure that is opened."""

from __future__ import annotations

import uuid
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import date
from typing import Any

from django.db.models import Count, F, Q, QuerySet, Sum

from shopfloor.models import Check, Evidence, PartResult, RunDay

OUTCOMES = ("good", "scrap", "rework")
BURNT = F("arc_s") + F("entered_arc_s")  # as it was heard, and as entered for what was not
PASSED = Count("pk", filter=Q(passed=True))


@dataclass(slots=True)
class Parts:
    good: int = 0
    scrap: int = 0
    rework: int = 0
    checked: int = 0
    passed: int = 0


@dataclass(slots=True)
class Sums:
    """Seconds and pieces. `planned_s` and `with_plan_s` are of the same runs: those that had a
    plan and burnt. `rows`: on how many dates a run was there; 0: nothing is known."""

    rows: int = 0
    arc_s: float = 0.0
    elapsed_s: float = 0.0
    measured_s: float = 0.0
    unknown_s: float = 0.0
    planned_s: float = 0.0
    with_plan_s: float = 0.0
    parts: Parts = field(default_factory=Parts)


def sums_by_table(first: date, last: date, tables: Sequence[int]) -> dict[int, Sums]:
    """By table id; shift dates from `first` to `last`. Three queries."""
    days = _days(first, last).filter(table__in=tables)
    planned = days.filter(planned_arc_s__isnull=False).values("run")
    burning = days.filter(arc_s__gt=0) | days.filter(entered_arc_s__gt=0)
    told = Q(evidence=Evidence.MEASURED)
    rows = days.values_list("table_id").annotate(
        rows=Count("pk"),
        burnt=Sum(BURNT),
        elapsed=Sum("elapsed_s"),
        measured=Sum(F("elapsed_s") - F("entered_s") - F("unknown_s"), filter=told, default=0.0),
        unknown=Sum("unknown_s"),
        planned=Sum("planned_arc_s", filter=Q(run__in=burning.values("run")), default=0.0),
        with_plan=Sum(BURNT, filter=Q(run__in=planned), default=0.0),
    )
    found: dict[int, Sums] = defaultdict(Sums)
    for table, *sums in rows:
        found[table] = Sums(*sums)
    runs = days.values("run")
    for table, outcome, quantity in _results(runs, "run__table"):
        setattr(found[table].parts, outcome, quantity)
    for table, checked, passed in _checks(runs, "run__table"):
        found[table].parts.checked, found[table].parts.passed = checked, passed
    return found


@dataclass(frozen=True, slots=True)
class RunTime:
    """A run's seconds on these dates."""

    burnt_s: float
    elapsed_s: float
    planned_s: float | None

    @property
    def against_plan(self) -> bool:
        return self.planned_s is not None and self.burnt_s > 0


def times_by_run(first: date, last: date, table_id: int) -> dict[uuid.UUID, RunTime]:
    """Each run of the table. One query."""
    rows = _days(first, last).filter(table=table_id).values_list("run")
    sums = rows.annotate(burnt=Sum(BURNT), elapsed=Sum("elapsed_s"), planned=Sum("planned_arc_s"))
    return {run: RunTime(*seconds) for run, *seconds in sums}


def parts_by_run(first: date, last: date, table_id: int) -> dict[uuid.UUID, Parts]:
    """Of runs of the table that made or checked any. Two queries."""
    runs = _days(first, last).filter(table=table_id).values("run")
    found: dict[uuid.UUID, Parts] = defaultdict(Parts)
    for run, outcome, quantity in _results(runs, "run"):
        setattr(found[run], outcome, quantity)
    for run, checked, passed in _checks(runs, "run"):
        found[run].checked, found[run].passed = checked, passed
    return dict(found)


def _days(first: date, last: date) -> QuerySet[RunDay]:
    return RunDay.objects.filter(shift_date__range=(first, last)).order_by()


def _results(runs: QuerySet[RunDay, Any], by: str) -> QuerySet[PartResult, Any]:
    rows = PartResult.objects.filter(run__in=runs, outcome__in=OUTCOMES).order_by()
    return rows.values_list(by, "outcome").annotate(all=Sum("quantity"))


def _checks(runs: QuerySet[RunDay, Any], by: str) -> QuerySet[Check, Any]:
    rows = Check.objects.filter(run__in=runs, passed__isnull=False).order_by()
    return rows.values_list(by).annotate(all=Count("pk"), good=PASSED)
