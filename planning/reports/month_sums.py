"""What was posted into a month, summed by the database over narrow columns."""

from __future__ import annotations

import uuid
from collections.abc import Mapping
from dataclasses import dataclass
from typing import NamedTuple

from django.db.models import Sum

from planning.inputs.chunks import chunked
from planning.reports.ledger import MATERIAL, read
from planning.reports.month_runs import MonthRun
from shopfloor.models import Month, Posting


class Posted(NamedTuple):
    """What was posted for a job, of a kind and evidence; `late`: about a closed month."""

    job: int | None
    kind: str
    late: bool
    evidence: str
    minor: int


@dataclass(frozen=True, slots=True)
class MonthSums:
    """posted: everything, by job, kind and evidence
    spent: by run, all but material
    with_material: runs whose material was posted
    bare: by job, what runs without a plan cost, their material and postings for
        closed months apart."""

    posted: tuple[Posted, ...]
    spent: Mapping[uuid.UUID, int]
    with_material: frozenset[uuid.UUID]
    bare: Mapping[int | None, int]


def month_sums(month: Month, runs: Mapping[uuid.UUID, MonthRun]) -> MonthSums:
    """Three queries, and one for each 400 runs without a plan."""
    own = Posting.objects.filter(month=month).order_by()
    of_runs = own.exclude(run=None)
    spent = of_runs.exclude(kind__in=MATERIAL).values_list("run_id")
    material = of_runs.filter(kind="material").values_list("run_id", flat=True)
    unplanned = [pk for pk, run in runs.items() if not run.compared]
    bare = dict[int | None, int]()
    for job, minor in chunked(
        unplanned,
        lambda some: (
            own.filter(run__in=some, belongs_to=None)
            .exclude(kind__in=MATERIAL)
            .values_list("line__job_id")
            .annotate(all=Sum("amount_minor"))
        ),
    ):
        bare[job] = bare.get(job, 0) + minor
    return MonthSums(
        tuple(Posted(*row) for row in read(["line__job_id", "kind", "late"], month=month)),
        dict(spent.annotate(all=Sum("amount_minor"))),
        frozenset(material.distinct()),
        bare,
    )
