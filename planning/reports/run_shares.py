"""How runs divide between the jobs burnt on them, as their time was posted."""

from __future__ import annotations

import uuid
from collections import defaultdict
from collections.abc import Iterable

from django.db.models import Sum

from planning.inputs.chunks import Ids, among
from shopfloor.models import Posting

TIMED = ("machine", "labour", "gas")


def run_shares(
    runs: Iterable[uuid.UUID], ids: Ids | None = None
) -> dict[uuid.UUID, dict[int | None, float]]:
    """By run, each job's share of its time; they sum to 1. None is the shop: a run that nothing
    was posted for is the shop's alone. `ids` asks for the same runs by a query."""
    known = set(runs)
    sums: dict[uuid.UUID, dict[int | None, float]] = defaultdict(dict)
    rows = among(
        known if ids is None else ids,
        lambda some: (
            Posting.objects.filter(run__in=some, kind__in=TIMED)
            .order_by()
            .values_list("run_id", "line__job_id")
            .annotate(all=Sum("amount_minor"))
        ),
    )
    for run, job, minor in rows:
        if minor > 0:
            sums[run][job] = float(minor)
    shares: dict[uuid.UUID, dict[int | None, float]] = {}
    for run in sorted(known):
        whole = sum(sums[run].values())
        shares[run] = (
            {job: minor / whole for job, minor in sums[run].items()} if whole else {None: 1.0}
        )
    return shares
