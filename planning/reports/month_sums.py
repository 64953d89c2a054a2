"""What was posted into a month, summed by the database over narrow columns."""

from __future__ import annotations

import uuid
from collections.abc import Mapping
from dataclasses import dataclass
from typing import NamedTuple

from django.db.models import Q, Sum

from planning.inputs.chunks import chunked
from planning.reports.month_runs import MonthRun
from shopfloor.models import Month, Posting

MATERIAL = ("material", "credit")


class Posted(NamedTuple):
    """What was posted for a job, of a kind and evidence; `late`: about a closed month."""

    job: int | None
    kind: str
    evidence: str
    late: bool
    minor: int


@dataclass(frozen=True, slots=True)
class MonthSums:
    """posted: everything, by job, kind and evidence
    spent: by run, all but material
    with_material: runs whose material was posted
    bare: by job, what runs without a plan cost, their material and late facts apart."""

    posted: tuple[Posted, ...]
    spent: Mapping[uuid.UUID, int]
    with_material: frozenset[uuid.UUID]
    bare: Mapping[int | None, int]


def month_sums(month: Month, runs: Mapping[uuid.UUID, MonthRun]) -> MonthSums:
    """Three queries, and one for each 400 runs without a plan."""
    own = Posting.objects.filter(month=month).order_by()
    summed = (
        own.annotate(late=Q(belongs_to__isnull=False))
        .values_list("line__job_id", "kind", "evidence", "late")
        .annotate(all=Sum("amount_minor"))
    )
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
        tuple(Posted(*row) for row in summed),
        dict(spent.annotate(all=Sum("amount_minor"))),
        frozenset(material.distinct()),
        bare,
    )
