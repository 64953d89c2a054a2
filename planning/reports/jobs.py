"""Jobs that are due, running or late."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Sequence
from datetime import datetime

import pandas as pd
from django.db.models import Sum

from planning.reports.frames import frame
from planning.reports.queue import Queued, queue_plans
from planning.reports.shapes import JobToday
from shopfloor.jobs.late import STATES, is_late_owing
from shopfloor.models import Contour, Job, JobLine, PartResult, Run, RunState


def jobs_today(*, now: datetime) -> pd.DataFrame:
    """`job_rows` as a frame."""
    return frame(" ".join(JobToday._fields), job_rows(now=now, waiting=queue_plans()))


def job_rows(*, now: datetime, waiting: Sequence[Queued]) -> list[JobToday]:
    """Open jobs by due date.

    `queued` is how many sheets with its parts wait on a table, `planned_rest_s` their planned time
    (all of a shared nest counts for each of its jobs); None where none waits or one of them has no
    plan. Late: as `is_late` says. Four queries however many jobs."""
    jobs = list(
        Job.objects.filter(state__in=STATES)
        .select_related("customer")
        .only("number", "customer__name", "title", "due_at", "state", "hold_reason")
        .order_by("due_at", "number")
    )
    ids = {job.pk for job in jobs}
    ordered, good, scrap, shortage = _parts(ids)
    running = set(
        Contour.objects.filter(
            revision__in=Run.objects.filter(state=RunState.OPEN).values("revision"),
            line__job__in=ids,
        )
        .order_by()
        .values_list("line__job_id", flat=True)
        .distinct()
    )
    queued, rest = _waiting(waiting)
    return [
        JobToday(
            job.pk,
            job.number,
            job.customer.name,
            job.title,
            job.due_at,
            job.state,
            ordered[job.pk],
            good[job.pk],
            scrap[job.pk],
            shortage[job.pk],
            queued.get(job.number, 0),
            rest.get(job.number),
            job.pk in running,
            is_late_owing(job, shortage[job.pk], now),
            job.hold_reason,
        )
        for job in jobs
    ]


def _parts(ids: set[int]) -> tuple[Counter[int], Counter[int], Counter[int], Counter[int]]:
    """Ordered, good, scrapped and still owed, by job. Owed is line by line: a surplus of one part
    makes up for no other."""
    counts = {
        (line, outcome): quantity
        for line, outcome, quantity in PartResult.objects.filter(line__job__in=ids)
        .order_by()
        .values_list("line_id", "outcome")
        .annotate(all=Sum("quantity"))
    }
    ordered, good, scrap, owed = Counter[int](), Counter[int](), Counter[int](), Counter[int]()
    lines = JobLine.objects.filter(job__in=ids).order_by()
    for line, job, quantity in lines.values_list("pk", "job_id", "quantity"):
        ordered[job] += quantity
        made = counts.get((line, "good"), 0)
        good[job] += made
        scrap[job] += counts.get((line, "scrap"), 0)
        owed[job] += max(0, quantity - made)
    return ordered, good, scrap, owed


def _waiting(
    items: Sequence[Queued],
) -> tuple[dict[str, int], dict[str, float | None]]:
    """Sheets that wait, and their planned seconds, by job number."""
    queued: dict[str, int] = defaultdict(int)
    rest: dict[str, float | None] = {}
    for item in items:
        for job in item.jobs:
            queued[job] += 1
            had = rest.get(job, 0.0)
            rest[job] = None if had is None or item.total_s is None else had + item.total_s
    return queued, rest
