"""Any number opened: what it says, how it was worked out, and what it was made from."""

from __future__ import annotations

from typing import Any

from django.core.exceptions import PermissionDenied
from django.http import Http404, HttpRequest, HttpResponseBase
from django.shortcuts import render
from django.urls import reverse
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_
from django.views.decorators.http import require_safe

from dashboards import data
from dashboards.access import Reader, desk, reader_of
from planning.calc.said import to_reader
from planning.reports.figure import Part, Ref
from shopfloor.wording.quantity import Reading, Right, evidence_said, remark_said, say

PAGES = {
    "run": N_("The run"),
    "job_cost": N_("The job's cost"),
    "cost": N_("The month"),
    "wear": N_("Wear"),
    "measures": N_("Measures"),
    "factors": N_("Factors"),
    "promises": N_("Promises"),
}


@desk()
@require_safe
def figure(request: HttpRequest, kind: str, key: str) -> HttpResponseBase:
    reader = reader_of(request.user)
    reading = reading_of(reader)
    if not reading.may(data.right_of(kind)):
        raise PermissionDenied
    try:
        found = data.open_figure(kind, key)
    except LookupError as missing:
        raise Http404(str(missing)) from missing
    rows = [_row(part, reader, reading) for part in found.parts if reading.may(part.quantity.right)]
    context = {
        "further": any(row["url"] for row in rows),
        "figure": found,
        "value": say(found.quantity, reading),
        "evidence": evidence_said(found.quantity.evidence),
        "title": to_reader(found.label, inch=reader.inch),
        "how": to_reader(found.rule, inch=reader.inch),
        "rows": rows,
        "up": _up(found.page),
    }
    return render(request, "kerfbook/figure.html", context)


def reading_of(reader: Reader) -> Reading:
    """A person's units and what they may see, for `say`."""
    currency, digits = data.currency()
    rights = {Right.EVERYBODY, *([Right.COST] if reader.cost else [])}
    return Reading(reader.inch, currency, digits, frozenset(rights))


def _row(part: Part, reader: Reader, reading: Reading) -> dict[str, Any]:
    """A part as `_figure_parts.html` draws it, leading on where it opens."""
    notes = [remark_said(note, reading) for note in part.notes]
    return {
        "label": to_reader(part.label, inch=reader.inch),
        "value": say(part.quantity, reading),
        "evidence": evidence_said(part.quantity.evidence),
        "note": ", ".join(note for note in notes if note),
        "total": part.total,
        "url": _address(part.opens, reader) if part.opens else "",
    }


def _address(ref: Ref, reader: Reader) -> str:
    if ref.kind == "feed":
        return reverse("source", args=[ref.key]) if reader.feeds else ""
    return reverse("figure", args=[ref.kind, ref.key])


def _up(page: Ref | None) -> tuple[str, str]:
    """The page a figure stands on: words and address."""
    if page is None:
        return _("Today"), reverse("today")
    asked = {"cost": "month", "wear": "piece", "measures": "days"}.get(page.kind)
    if asked:
        return _(PAGES[page.kind]), f"{reverse(page.kind)}?{asked}={page.key}"
    return _(PAGES[page.kind]), reverse(page.kind, args=[page.key] if page.key else [])
