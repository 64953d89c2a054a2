"""What one job cost over all months, down to its postings and runs."""

from __future__ import annotations

from typing import Any

from django.http import Http404, HttpRequest, HttpResponseBase
from django.shortcuts import render
from django.urls import reverse
from django.utils.translation import gettext as _
from django.views.decorators.http import require_safe

from dashboards import data
from dashboards.access import Reader, desk, reader_of
from dashboards.ledgers.cost import KINDS, WORDS
from dashboards.records import records
from dashboards.theme import NONE, coverage_words
from planning.calc.numbers import filled, written
from planning.calc.said import said, to_reader
from planning.reports.shapes import JobCost
from shopfloor.people.rights import COST
from shopfloor.web.tables import wanted
from shopfloor.wording.counts import count_fractional

MOST = 300


@desk(COST)
@require_safe
def job_cost(request: HttpRequest, job_id: int) -> HttpResponseBase:
    try:
        job = data.job_cost(job_id)
    except LookupError as missing:
        raise Http404(str(missing)) from missing
    reader = reader_of(request.user)
    most = len(job.postings) if wanted(request) else MOST
    context = _context(job, reader, most) | {"reader": reader}
    return render(request, "kerfbook/job_cost.html", context)


def _context(job: JobCost, reader: Reader, most: int) -> dict[str, Any]:
    postings = records(job.postings)[:most]
    over = None
    if job.plan_minor is not None:
        over = job.actual_minor - job.bare_minor - job.plan_minor
    margin = None if job.quote_minor is None else job.quote_minor - job.actual_minor
    return {
        "job": job,
        "over": over,
        "margin": margin,
        "less": abs(over or 0),
        "lost": abs(margin or 0),
        "lines": [
            row | {"url": _url("job_line", job.job_id, row["number"])} for row in records(job.lines)
        ],
        "kinds": [_kind(job, row) for row in records(job.kinds)],
        "runs": records(job.runs),
        "terms": [_term(job, row) for row in records(job.terms)],
        "postings": [_posting(row, inch=reader.inch) for row in postings],
        "postings_all": len(job.postings),
        "coverage": coverage_words(job.coverage, data.currency()[1], job.actual_minor),
    }


def _url(kind: str, *key: Any) -> str:
    return reverse("figure", args=[kind, ":".join(str(part) for part in key)])


def _kind(job: JobCost, row: dict[str, Any]) -> dict[str, Any]:
    key = (job.job_id, row["number"], row["kind"])
    return row | {"url": _url("job_line_kind", *key), "kind_label": _(KINDS.get(key[2], key[2]))}


def _term(job: JobCost, row: dict[str, Any]) -> dict[str, Any]:
    term = row["term"]
    return row | {"name": _(WORDS.get(term, term)), "url": _url("job_term", job.job_id, term)}


def _posting(row: dict[str, Any], *, inch: bool) -> dict[str, Any]:
    quantity, unit, kind = row["quantity"], row["unit"], row["kind"]
    if quantity is None:
        of = NONE
    elif unit == "s":
        of = filled(_("{quantity:,.1f} min"), quantity=quantity / 60)
    elif unit == "mm2":
        of = to_reader(said("{0:m2,.3f}", quantity), inch=inch)
    elif unit == "start":
        of = count_fractional(float(quantity), "{n} start", "{n} starts")
    else:
        of = f"{written(quantity, ',.1f')} {unit}".strip()
    return row | {"of": of, "kind_label": _(KINDS.get(kind, kind))}
