"""Promises: when each open job will be done, and how full the tables are."""

from __future__ import annotations

from typing import Any

from django.http import HttpRequest, HttpResponseBase
from django.shortcuts import render
from django.views.decorators.http import require_safe

from dashboards import data
from dashboards.access import desk
from dashboards.plans.promise_chart import bars, timeline
from planning.reports.promise import IN_TIME, LATE, NO_DUE, OPEN, UNSURE

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
    now = data.now()
    asked = request.GET.get("job", "")
    board, loads, score = data.promises(now)
    jobs = board.jobs
    chosen = next((job for job in jobs if str(job.pk) == asked), None)
    hours = _hours(request.GET.get("hours", ""))
    new = data.promise_new(board, hours) if hours else ()
    context: dict[str, Any] = {
        "now": now,
        "at_key": f"@{round(now.timestamp() * 1e6)}",
        "jobs": jobs,
        "loads": [(load, bars(load)) for load in loads],
        "lines": timeline(jobs, now, data.zone()),
        "late": [job for job in jobs if job.state == LATE],
        "open": [job for job in jobs if job.state == OPEN],
        "in_time": [job for job in jobs if job.state == IN_TIME],
        "unknown": [job for job in jobs if job.state == UNSURE],
        "no_due": [job for job in jobs if job.state == NO_DUE],
        "chosen": chosen,
        "helps": data.promise_helps(board, chosen.pk) if chosen else [],
        "score": score,
        "levels": LEVELS,
        "hours": hours,
        "new": list(zip(LEVELS, new, strict=False)),
        "learnt": [
            {"runs": one.runs, "table_name": board.work.table_rows[pk].name}
            for pk, one in board.work.stored.items()
            if one.runs
        ],
    }
    return render(request, "kerfbook/promises.html", context)
