"""What a person enters for a time a source was not heard."""

from __future__ import annotations

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _

from shopfloor.models import EnteredCount
from shopfloor.runs.entered_counts import counts_enter, counts_take_back
from shopfloor.sources.office.forms import EnteredForm
from shopfloor.sources.source_page import entered_counts
from shopfloor.web.access import ASSIGN, DeskRequest, right
from shopfloor.web.forms import attempt
from shopfloor.wording.numbers_in import row_number
from telemetry.models import Feed


@right(ASSIGN)
def enter(request: DeskRequest, name: str) -> HttpResponse:
    feed = get_object_or_404(Feed, name=name)
    form = EnteredForm(feed, request.POST or None)
    if request.method == "POST" and request.POST.get("do") == "back":
        entered = get_object_or_404(EnteredCount, pk=row_number(request.POST.get("entered")) or 0)
        counts_take_back(entered=entered, by=request.user)
        return redirect("source_entered", name)
    if request.method == "POST" and form.is_valid() and attempt(form, lambda: _keep(request, form)):
        messages.success(request, _("It counts until lines of that time come."))
        return redirect("source_entered", name)
    return render(
        request,
        "sources/entered_counts.html",
        {"feed": feed, "form": form, "entered": entered_counts(feed)},
    )


def _keep(request: DeskRequest, form: EnteredForm) -> None:
    said = form.cleaned_data
    counts_enter(
        torch=said["torch"], started_at=said["started_at"], ended_at=said["ended_at"],
        starts=said["starts"], arc_s=said["minutes"] * 60, why=said["why"],
        by=request.user, now=timezone.now(),
    )  # fmt: skip
