"""A week or a month at a glance."""

from __future__ import annotations

from datetime import date, timedelta
from typing import Any
from urllib.parse import urlencode

from django.http import HttpRequest, HttpResponseBase
from django.shortcuts import render
from django.urls import reverse
from django.utils.translation import gettext as _
from django.views.decorators.http import require_safe

from dashboards import data
from dashboards.access import desk, reader_of
from planning.reports.glance import Cell

EARLIEST = date(1970, 1, 5)
WEEK = timedelta(days=7)


@desk()
@require_safe
def glance(request: HttpRequest) -> HttpResponseBase:
    """`of` in the address is week or month, `from` a date in it."""
    now = data.now()
    today = now.astimezone(data.zone()).date()
    of = "month" if request.GET.get("of") == "month" else "week"
    day, missing = _day(request.GET.get("from", ""), today)
    first, last = _span(day, of)
    persons = reader_of(request.user).persons
    found = data.glance(first, last, now, persons=persons)
    context = {
        "found": found,
        "of": of,
        "day": day,
        "missing": missing,
        "persons": persons,
        "sums": [_row(cell, first, last) for cell in found.sums],
        "days": [_row(cell, cell.day or first, cell.day or last) for cell in found.days],
        "before": _moved(first - timedelta(days=1)),
        "after": last + timedelta(days=1) if last < today else None,
    }
    return render(request, "kerfbook/glance.html", context, status=404 if missing else 200)


def _day(text: str, today: date) -> tuple[date, str]:
    if not text:
        return today, ""
    try:
        day = date.fromisoformat(text)
    except ValueError:
        return today, _("{text!r} is not a date; one is written 2026-10-08.").format(text=text[:40])
    if not EARLIEST <= day <= today + WEEK:
        return today, _("Nothing is on record of then.")
    return day, ""


def _span(day: date, of: str) -> tuple[date, date]:
    """The week from Monday, or the calendar month."""
    if of == "week":
        first = day - timedelta(days=day.weekday())
        return first, first + timedelta(days=6)
    first = day.replace(day=1)
    return first, (first + timedelta(days=31)).replace(day=1) - timedelta(days=1)


def _moved(day: date) -> date | None:
    return day if day >= EARLIEST else None


def _row(cell: Cell, first: date, last: date) -> dict[str, Any]:
    """A cell and where each of its figures opens: the whole of that table on those days."""

    def opens(what: str) -> str:
        return reverse("figure", args=["measure", f"{first}:{last}:{cell.table_id}:{what}"])

    shown = ""
    if cell.day and cell.shift:
        shown = f"?{urlencode({'day': cell.day, 'shift': cell.shift})}"
    return {
        "cell": cell,
        "runs": len(cell.runs),
        "shift_url": f"{reverse('today')}{shown}" if shown else "",
        "planned": opens("pbt"),
        "worked": opens("aubt"),
        "cut": opens("apt"),
        "stops": opens("adet"),
        "stopped_min": cell.stopped_s / 60,
        "pace": None if cell.pace is None else cell.pace * 100,
    }
