"""Having another source's arcs count from a day on: what that changes is shown first."""

from __future__ import annotations

from datetime import date
from typing import Any

from django import forms
from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy as _lazy

from planning.calc.dates import dated
from shopfloor.site.queries import shift_date_of
from shopfloor.sources.count import source_count_from
from shopfloor.sources.count_queries import count_preview, day_refused, first_open_day
from shopfloor.web.access import FEEDS, DeskRequest, right
from shopfloor.web.forms import DayField, attempt
from telemetry.counted import masters_beside
from telemetry.models import Feed


class CountForm(forms.Form):
    """`seen` is the day whose preview was on the page."""

    day = DayField(label=_lazy("From"), help_text=_lazy("Earlier days do not change"))
    seen = DayField(required=False, widget=forms.HiddenInput)

    def __init__(self, feed: Feed, *args: Any, **options: Any) -> None:
        super().__init__(*args, **options)
        self.feed = feed
        earliest = first_open_day()
        if earliest is not None:
            self.fields["day"].widget.attrs["min"] = earliest.isoformat()
            self.fields["day"].help_text = _("{earliest} or later; before is closed").format(
                earliest=dated(earliest)
            )

    def clean_day(self) -> date:
        day: date = self.cleaned_data["day"]
        if refused := day_refused(self.feed.table, day, timezone.now()):
            raise forms.ValidationError(refused)
        return day


@right(FEEDS)
def count_arcs(request: DeskRequest, name: str) -> HttpResponse:
    """Shows what changes from the day asked for; does it once that day was looked at."""
    feed = get_object_or_404(Feed, name=name)
    today = shift_date_of(timezone.now())
    form = CountForm(feed, request.POST or request.GET or {"day": today})
    day: date | None = form.cleaned_data["day"] if form.is_valid() else None
    seen = day is not None and form.cleaned_data["seen"] == day
    if request.method == "POST" and day is not None and seen:
        wanted = day

        def count() -> None:
            source_count_from(feed=feed, day=wanted, by=request.user, now=timezone.now())

        if attempt(form, count):
            messages.success(
                request,
                _("The arcs of {feed} count from {day} on.").format(feed=feed.name, day=dated(day)),
            )
            return redirect("source", name)
    months = [] if day is None else [one for one in count_preview(feed, day) if not one.same]
    context = {"feed": feed, "form": form, "day": day, "months": months,
               "masters": masters_beside(feed)}  # fmt: skip
    return render(request, "sources/source_count.html", context)
