"""Promises: when each open job will be done, and how full the tables are."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from typing import Any

from django.http import HttpRequest, HttpResponseBase
from django.shortcuts import render
from django.views.decorators.http import require_safe

from dashboards import data
from dashboards.access import desk
from dashboards.plans.promise_chart import bars, timeline
from planning.reports.promise import IN_TIME, LATE, NO_DUE, OPEN, UNSURE
from planning.reports.promise_help import Help

LEVELS = (50, 80, 90, 95)
MOST_H = 200.0


def _hours(asked: str) -> float | None:
    """Hours as somebody typed them; None for what is none a job can have."""
    try:
        found = float(asked.replace(",", "."))
    except ValueError:
        return None
    return found if 0 < found <= MOST_H else None


@desk()
@require_safe
def promises(request: HttpRequest) -> HttpResponseBase:
    """`job` in the address: an open job, for which what would help is worked out; `hours`: of a
    new job, for which the days are."""
    asked, hours = request.GET.get("job", ""), _hours(request.GET.get("hours", ""))
    helps: list[Help] = []
    new: Sequence[datetime | None] = ()
    if asked or hours:
        board, shown = data.promises_drawn(data.now())
        new = data.promise_new(board, hours) if hours else ()
    else:
        board, shown = None, data.promises(data.now())
    jobs, now = shown.jobs, shown.at
    chosen = next((job for job in jobs if str(job.pk) == asked), None)
    if board is not None and chosen is not None:
        helps = data.promise_helps(board, chosen.pk)
    context: dict[str, Any] = {
        "now": now,
        "at_key": f"@{round(now.timestamp() * 1e6)}",
        "jobs": jobs,
        "loads": [(load, bars(load)) for load in shown.loads],
        "lines": timeline(jobs, now, data.zone()),
        "late": [job for job in jobs if job.state == LATE],
        "open": [job for job in jobs if job.state == OPEN],
        "in_time": [job for job in jobs if job.state == IN_TIME],
        "unknown": [job for job in jobs if job.state == UNSURE],
        "no_due": [job for job in jobs if job.state == NO_DUE],
        "chosen": chosen,
        "helps": helps,
        "score": data.promises_score(),
        "replayed": data.promises_score(replayed=True),
        "levels": LEVELS,
        "hours": hours,
        "new": list(zip(LEVELS, new, strict=False)),
        "learnt": [{"runs": runs, "table_name": name} for name, runs in shown.learnt],
    }
    return render(request, "kerfbook/promises.html", context)
