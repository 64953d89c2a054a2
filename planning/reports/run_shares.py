"""How runs divide between the jobs on them: as their time was posted, else by what was cut."""

from __future__ import annotations

import uuid
from collections import defaultdict
from collections.abc import Iterable

from django.db.models import F, Sum

from planning.inputs.any_of import any_of
from planning.inputs.chunks import Ids, among, in_order
from shopfloor.models import Posting, Run

TIMED = ("machine", "labour", "gas")
OWN_MM = F("revision__contours__cut_mm") * F("revision__contours__common_share")


def run_shares(
    runs: Iterable[uuid.UUID], ids: Ids | None = None
) -> dict[uuid.UUID, dict[int | None, float]]:
    """By run, each job's share of its time; they sum to 1. None is the shop. Where no time was
    posted (no rate is set yet) a run divides by the metres of its contours; one without a contour
    is the shop's alone. `ids` asks for the same runs by a query."""
    known = set(runs)
    sums: dict[uuid.UUID, dict[int | None, float]] = defaultdict(dict)
    rows = among(
        known if ids is None else ids,
        lambda some: (
            Posting.objects.filter(**any_of("run", some), kind__in=TIMED)
            .order_by()
            .values_list("run_id", "line__job_id")
            .annotate(all=Sum("amount_minor"))
        ),
    )
    for run, job, minor in rows:
        if minor > 0:
            sums[run][job] = float(minor)
    for run, job, cut_mm in _cut(known - set(sums)):
        sums[run][job] = sums[run].get(job, 0.0) + cut_mm
    shares: dict[uuid.UUID, dict[int | None, float]] = {}
    for run in in_order(known):
        whole = sum(sums[run].values())
        shares[run] = (
            {job: minor / whole for job, minor in sums[run].items()} if whole else {None: 1.0}
        )
    return shares


def _cut(runs: set[uuid.UUID]) -> Iterable[tuple[uuid.UUID, int | None, float]]:
    """Millimetres of the runs' programs by the job they are cut for, common edges halved."""
    return among(
        runs,
        lambda some: (
            Run.objects.filter(**any_of("pk", some), revision__contours__cut_mm__gt=0)
            .order_by()
            .values_list("pk", "revision__contours__line__job_id")
            .annotate(all=Sum(OWN_MM))
        ),
    )
