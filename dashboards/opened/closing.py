"""Closing a month: from then on it is read as it was printed."""

from __future__ import annotations

from datetime import date
from typing import Any

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponseBase
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils.translation import gettext as _

from dashboards import data
from dashboards.access import desk
from planning.calc.dates import MONTH, dated
from planning.calc.said import to_reader, told
from planning.reports.cost import unfinished_runs
from planning.services.months import MonthError, month_close
from shopfloor.people.rights import CLOSE, COST, may


@desk(CLOSE)
def close(request: HttpRequest, month: str) -> HttpResponseBase:
    """Says what closing means, and does it on the press of the button."""
    first_day = _first(month)
    user: Any = request.user
    back = f"{reverse('cost')}?month={month}"
    if request.method == "POST":
        try:
            month_close(first_day=first_day, by=user, now=data.now())
        except MonthError as refused:
            messages.error(request, to_reader(told(refused), inch=False))
            return redirect("month_close", month=month)
        messages.success(
            request, _("{first_day} is closed.").format(first_day=dated(first_day, MONTH))
        )
        return redirect(back if may(user, COST) else "today")
    try:
        found = data.cost_month(first_day)
    except LookupError as missing:
        raise Http404(str(missing)) from missing
    context = {"found": found, "unfinished": unfinished_runs(first_day=first_day), "back": back}
    return render(request, "kerfbook/month_close.html", context)


def _first(month: str) -> date:
    try:
        return date.fromisoformat(f"{month}-01")
    except ValueError as wrong:
        raise Http404(_("{month!r} is not a month").format(month=month)) from wrong
