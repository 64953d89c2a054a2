"""The first hour of a shop, as a list that ticks itself off."""

from __future__ import annotations

from django.http import HttpResponse
from django.shortcuts import render

from shopfloor.site.first_steps import first_steps
from shopfloor.web.access import ANY, DeskRequest, right


@right(*ANY)
def steps(request: DeskRequest) -> HttpResponse:
    rows = first_steps()
    missing = [step for step in rows if not step.done]
    return render(
        request, "site/first_steps.html",
        {"steps": rows, "missing": missing, "next": missing[0] if missing else None},
    )  # fmt: skip
