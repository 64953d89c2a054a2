"""Any number opened: what it says, how it was worked out, and what it was made from."""

from __future__ import annotations

from datetime import date
from typing import Any

from django.core.exceptions import PermissionDenied
from django.http import Http404, HttpRequest, HttpResponseBase
from django.shortcuts import render
from django.urls import reverse
from django.views.decorators.http import require_safe

from dashboards import data
from dashboards.access import Reader, desk, reader_of
from planning.calc.said import to_reader
from planning.reports.shapes import OpenedRow

# Kinds that are time or wear alone; every other one has money in it.
OPEN_TO_ALL = ("run_term", "arc", "run", "plan", "piece", "shift", "pace", "outlook", "day",
               "measure", "factor")  # fmt: skip


@desk()
@require_safe
def figure(request: HttpRequest, kind: str, key: str) -> HttpResponseBase:
    reader = reader_of(request.user)
    if kind not in OPEN_TO_ALL and not reader.cost:
        raise PermissionDenied
    try:
        found = data.open_figure(kind, key)
    except LookupError as missing:
        raise Http404(str(missing)) from missing
    rows = [_row(row, reader) for row in found.rows if reader.cost or not row.money]
    context = {
        "further": any(row["url"] for row in rows),
        "figure": found,
        "title": to_reader(found.title, inch=reader.inch),
        "how": to_reader(found.how, inch=reader.inch),
        "rows": rows,
        "kind": kind,
        "up": _up(kind, key, found.facts),
        "reader": reader,
    }
    return render(request, "kerfbook/figure.html", context)


def _row(row: OpenedRow, reader: Reader) -> dict[str, Any]:
    """A row as `_figure_parts.html` draws it, leading on where it opens."""
    url = reverse("figure", args=[row.kind, row.id]) if row.kind and row.id else ""
    if row.kind == "feed" and reader.feeds:
        url = reverse("source", args=[row.id])
    elif row.kind == "feed":
        url = ""
    return {
        "label": row.label,
        "value": to_reader(row.value, inch=reader.inch),
        "evidence": row.evidence,
        "note": _note(row, reader),
        "total": row.total,
        "url": url,
    }


def _note(row: OpenedRow, reader: Reader) -> str:
    """The note of a row, with what it cost for those who see that."""
    note = to_reader(row.note, inch=reader.inch)
    return ", ".join(word for word in (note, row.charge if reader.cost else "") if word)


def _up(kind: str, key: str, facts: dict[str, Any]) -> tuple[str, str]:
    """The page this figure stands on: words and address."""
    if kind in ("run", "run_term"):
        return "The run", reverse("run", args=[key.partition(":")[0]])
    if kind == "posting" and facts.get("job"):
        return "The job's cost", reverse("job_cost", args=[facts["job"]])
    if kind == "posting":
        return "The month", f"{reverse('cost')}?month={facts['month']:%Y-%m}"
    if kind.startswith("job"):
        return "The job's cost", reverse("job_cost", args=[int(key.partition(":")[0])])
    if kind.startswith("month") or kind == "squareness":
        return "The month", f"{reverse('cost')}?month={key[:7]}"
    if kind == "piece":
        return "Wear", f"{reverse('wear')}?piece={key}"
    if kind == "measure":
        first, last = (date.fromisoformat(day) for day in key.split(":")[:2])
        return "Measures", f"{reverse('measures')}?days={(last - first).days + 1}"
    if kind == "factor":
        return "Factors", reverse("factors")
    return "Today", reverse("today")
