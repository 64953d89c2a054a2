"""Jobs: the list, one job, and the list as CSV."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from django.http import HttpResponse
from django.shortcuts import get_object_or_404, render
from django.utils import timezone
from django.utils.translation import gettext_lazy as _lazy

from shopfloor.drawings.queries import lines_drawn
from shopfloor.files.export import Sheet
from shopfloor.jobs.late import late_jobs
from shopfloor.models import Job, JobState
from shopfloor.runs.jobs import (
    job_costs,
    job_heat_unknown,
    job_heats,
    job_last_segments,
    job_lines,
    jobs_list,
    jobs_total,
)
from shopfloor.web.access import ANY, ASSIGN, COST, MARGIN, PLAN, QUOTES, DeskRequest, may, right
from shopfloor.web.forms import page_of
from shopfloor.web.tables import as_file

EXPORTED = ["number", "customer__name", "title", "due_at", "state", "wanted", "good", "scrap"]
STATES = [
    ("open", _lazy("open")), ("held", _lazy("held")), ("closed", _lazy("closed")),
    ("all", _lazy("all")),
]  # fmt: skip


def _asked(request: DeskRequest) -> tuple[str, str]:
    state = request.GET.get("state", JobState.OPEN)
    return request.GET.get("q", "").strip()[:80], "" if state == "all" else state


SORTS = (
    "number",
    "title",
    "customer__name",
    "line_count",
    "wanted",
    "good",
    "scrap",
    "due_at",
    "state",
)


@right(*ANY)
def jobs(request: DeskRequest) -> HttpResponse:
    text, state = _asked(request)
    rows = jobs_list(text=text, state=state)
    return render(
        request,
        "jobs/jobs.html",
        {
            "page_obj": page_of(request, rows, SORTS),
            "text": text,
            "state": state or "all",
            "states": STATES,
            "late": set(late_jobs(timezone.now()).values_list("pk", flat=True)),
            # Of what is closed there is no end: it is not added up on each visit.
            "total": jobs_total(rows) if state in (JobState.OPEN, JobState.HELD) else None,
            "may_plan": may(request.user, PLAN),
            "may_quote": may(request.user, QUOTES)
            or (may(request.user, COST) and may(request.user, MARGIN)),
        },
    )


@right(*ANY)
def job(request: DeskRequest, pk: int) -> HttpResponse:
    found = get_object_or_404(Job.objects.select_related("customer"), pk=pk)
    lines = job_lines(found)
    sees_cost = may(request.user, COST)
    heats = job_heats(found)
    return render(
        request,
        "jobs/job.html",
        {
            "job": found,
            "lines": lines,
            "short": sum(stands.short for stands in lines),
            "doubt": any(stands.good_low != stands.good_high for stands in lines),
            "may_decide": may(request.user, ASSIGN, PLAN),
            "late": late_jobs(timezone.now()).filter(pk=found.pk).exists(),
            "now_cut": job_last_segments(found),
            "heats": heats,
            "heat_unknown": job_heat_unknown(found, heats),
            "drawn": lines_drawn(found),
            "costs": job_costs(found, [s.line for s in lines]) if sees_cost else None,
            "sees_quote": may(request.user, MARGIN),
            "may_plan": may(request.user, PLAN),
        },
    )


@right(*ANY)
def jobs_csv(request: DeskRequest) -> HttpResponse:
    """The list as it is filtered, for a spreadsheet. No money in it."""
    text, state = _asked(request)
    heads = ("job", "customer", "title", "due", "state", "parts", "good", "scrap")
    rows = jobs_list(text=text, state=state).values_list(*EXPORTED).iterator(chunk_size=500)
    return as_file(Sheet("jobs", heads, ([_local(cell) for cell in row] for row in rows)), "csv")


def _local(cell: Any) -> Any:
    return timezone.localtime(cell) if isinstance(cell, datetime) else cell
