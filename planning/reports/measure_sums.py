"""What the runs of some days come to by table, summed by the database: thirteen weeks of ten
tables are ten thousand runs. A figure that is opened asks for the same sums by run."""

from __future__ import annotations

import uuid
from collections import defaultdict
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field
from datetime import date
from typing import Any

from django.db.models import Count, F, Q, QuerySet, Sum

from shopfloor.models import Check, Evidence, PartResult, RunDay

HOUR_S = 3600.0
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

    @property
    def made(self) -> int:
        return self.good + self.scrap + self.rework


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


# The elements of the measures that the database sums, for a table or for a run.
OF_SUMS: dict[str, Callable[[Sums], float]] = {
    "apt": lambda sums: sums.arc_s / HOUR_S,
    "aubt": lambda sums: sums.elapsed_s / HOUR_S,
    "pq": lambda sums: sums.parts.made,
    "gq": lambda sums: sums.parts.good,
    "sq": lambda sums: sums.parts.scrap,
    "rq": lambda sums: sums.parts.rework,
    "gp": lambda sums: sums.parts.passed,
    "ip": lambda sums: sums.parts.checked,
}


def sums_by_table(first: date, last: date, tables: Sequence[int]) -> dict[int, Sums]:
    """By table id; shift dates from `first` to `last`. Three queries."""
    return _sums(_days(first, last).filter(table__in=tables), "table_id", "run__table")


def sums_by_run(first: date, last: date, table_id: int) -> dict[uuid.UUID, Sums]:
    """The same, run by run. Three queries."""
    return _sums(_days(first, last).filter(table=table_id), "run", "run")


def added(all_of: Iterable[Sums]) -> Sums:
    """Of a table from those of its runs."""
    whole = Sums()
    for one in all_of:
        for own, others in ((whole, one), (whole.parts, one.parts)):
            for name in own.__slots__:
                if name != "parts":
                    setattr(own, name, getattr(own, name) + getattr(others, name))
    return whole


def _sums(days: QuerySet[RunDay], by: str, run_by: str) -> dict[Any, Sums]:
    """`by` names what days are summed by, `run_by` the same of what is made in a run."""
    planned = days.filter(planned_arc_s__isnull=False).values("run")
    burning = days.filter(arc_s__gt=0) | days.filter(entered_arc_s__gt=0)
    told = Q(evidence=Evidence.MEASURED)
    rows = days.values_list(by).annotate(
        rows=Count("pk"),
        burnt=Sum(BURNT),
        elapsed=Sum("elapsed_s"),
        measured=Sum(F("elapsed_s") - F("entered_s") - F("unknown_s"), filter=told, default=0.0),
        unknown=Sum("unknown_s"),
        planned=Sum("planned_arc_s", filter=Q(run__in=burning.values("run")), default=0.0),
        with_plan=Sum(BURNT, filter=Q(run__in=planned), default=0.0),
    )
    found: dict[Any, Sums] = defaultdict(Sums)
    for key, *sums in rows:
        found[key] = Sums(*sums)
    runs = days.values("run")
    for key, outcome, quantity in _results(runs, run_by):
        setattr(found[key].parts, outcome, quantity)
    for key, checked, passed in _checks(runs, run_by):
        found[key].parts.checked, found[key].parts.passed = checked, passed
    return found


def _days(first: date, last: date) -> QuerySet[RunDay]:
    return RunDay.objects.filter(shift_date__range=(first, last)).order_by()


def _results(runs: QuerySet[RunDay, Any], by: str) -> QuerySet[PartResult, Any]:
    rows = PartResult.objects.filter(run__in=runs, outcome__in=OUTCOMES).order_by()
    return rows.values_list(by, "outcome").annotate(all=Sum("quantity"))


def _checks(runs: QuerySet[RunDay, Any], by: str) -> QuerySet[Check, Any]:
    rows = Check.objects.filter(run__in=runs, passed__isnull=False).order_by()
    return rows.values_list(by).annotate(all=Count("pk"), good=PASSED)
