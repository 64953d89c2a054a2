"""What one job cost over all months, down to its postings and runs."""

from __future__ import annotations

from typing import Any

from django.http import Http404, HttpRequest, HttpResponseBase
from django.shortcuts import render
from django.views.decorators.http import require_safe

from dashboards import data
from dashboards.access import desk, sight_of
from dashboards.ledgers.cost import WORDS
from dashboards.ledgers.run import records
from dashboards.theme import coverage_words
from planning.reports.shapes import JobCost

MOST = 300


@desk("see_cost")
@require_safe
def job_cost(request: HttpRequest, job_id: int) -> HttpResponseBase:
    try:
        job = data.job_cost(job_id)
    except LookupError as missing:
        raise Http404(str(missing)) from missing
    return render(
        request, "kerfbook/job_cost.html", _context(job) | {"sight": sight_of(request.user)}
    )


def _context(job: JobCost) -> dict[str, Any]:
    terms = [row | {"name": WORDS.get(row["term"], row["term"])} for row in records(job.terms)]
    postings = records(job.postings)
    over = None if job.plan_minor is None else job.actual_minor - job.plan_minor
    margin = None if job.quote_minor is None else job.quote_minor - job.actual_minor
    return {
        "job": job,
        "over": over,
        "margin": margin,
        "lines": records(job.lines),
        "kinds": records(job.kinds),
        "runs": records(job.runs),
        "terms": terms,
        "postings": postings[:MOST],
        "postings_all": len(postings),
        "coverage": coverage_words(job.coverage, data.currency()[1], job.actual_minor),
    }
