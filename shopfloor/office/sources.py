"""Signal sources: which are alive, what they could not say, adding and changing them."""

from __future__ import annotations

from typing import Any

from django import forms
from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_POST

from shopfloor.office.access import ANY, FEEDS, DeskRequest, may, right
from shopfloor.office.forms import page_of, upload_bytes
from shopfloor.selectors.sources import (
    instant,
    reject_reasons,
    source_alarms,
    source_clock,
    source_gaps,
    source_rejects,
    source_state,
    source_versions,
    sources_list,
)
from shopfloor.services.sources_office import MAX_SAMPLE_BYTES, sample_try, source_register
from telemetry.errors import DescriptionError
from telemetry.models import Alarm, Feed
from telemetry.sample import as_json
from telemetry.services import alarm_clear, clock_correct, feed_set_enabled, feed_set_master

SHOWN = 25
EXAMPLE = """table = "north"
torch = "1"
[source]
kind = "csv_file"
path = "/srv/north/lines.csv"
[line]
format = "columns"
separator = ","
columns = ["seq", "time", "signal", "value"]
[time]
from = "line"
format = "iso"
zone = "America/Chicago"
[signals]
arc_on = ["ARC ON"]
arc_off = ["ARC OFF"]
pierce = ["PIERCE"]
"""


class SourceForm(forms.Form):
    name = forms.RegexField(
        r"^[A-Za-z0-9][A-Za-z0-9._-]{0,59}$",
        help_text="Letters, digits, dot, dash; it stays for good",
    )
    text = forms.CharField(
        label="Description (TOML)", max_length=50_000, strip=False,
        widget=forms.Textarea(attrs={"class": "code", "rows": 22, "spellcheck": "false"}),
    )  # fmt: skip
    sample = forms.FileField(
        required=False, label="A sample of its lines", help_text="To try it out; nothing is stored"
    )


class ClockForm(forms.Form):
    seconds = forms.FloatField(
        min_value=-400_000, max_value=400_000, label="Add to its stamps, s",
        help_text="Whole history; the stamps as written are kept",
    )  # fmt: skip
    reason = forms.CharField(max_length=200)


@right(*ANY)
def sources(request: DeskRequest) -> HttpResponse:
    rows = sources_list()
    return render(
        request,
        "kerfbook/office/sources.html",
        {"sources": rows, "troubled": [row for row in rows if row.off_plan],
         "alarms": source_alarms(),
         "may_manage": may(request.user, FEEDS)},
    )  # fmt: skip


@right(*ANY)
def source(request: DeskRequest, name: str) -> HttpResponse:
    feed = get_object_or_404(Feed, name=name)
    every = request.GET.get("rejects") == "all"
    page = page_of(request, source_rejects(feed, open_only=not every))
    rejects = [(reject, instant(reject.received_us)) for reject in page.object_list]
    return render(
        request,
        "kerfbook/office/source.html",
        {
            "source": source_state(feed), "feed": feed, "page_obj": page,
            "rejects": rejects, "every": every, "reasons": reject_reasons(feed),
            "gaps": source_gaps(feed),
            "versions": source_versions(feed), "alarms": source_alarms(feed),
            "may_manage": may(request.user, FEEDS),
            "clock": source_clock(feed), "clock_form": ClockForm(),
        },
    )  # fmt: skip


@right(FEEDS)
def change(request: DeskRequest, name: str = "") -> HttpResponse:
    """Adds a source or gives one a new description; "try" decodes a sample and stores nothing."""
    feed = get_object_or_404(Feed, name=name) if name else None
    form = _form(request, feed)
    tried: dict[str, Any] | None = None
    if request.method == "POST" and form.is_valid():
        try:
            if request.POST.get("do") == "try":
                tried = _tried(form)
            else:
                _save(request, form, feed)
                return redirect("source", form.cleaned_data["name"])
        except (DescriptionError, ValidationError) as problem:
            form.add_error("text", str(getattr(problem, "message", problem)))
    return render(
        request, "kerfbook/office/source_change.html", {"form": form, "feed": feed, "tried": tried}
    )


def _form(request: DeskRequest, feed: Feed | None) -> SourceForm:
    text = EXAMPLE
    if feed is not None:
        text = feed.versions.get(version=feed.version).text
    initial = {"name": feed.name if feed else "", "text": text}
    form = SourceForm(request.POST or None, request.FILES or None, initial=initial)
    form.fields["name"].disabled = feed is not None
    return form


def _tried(form: SourceForm) -> dict[str, Any]:
    upload = form.cleaned_data["sample"]
    if upload is None:
        raise ValidationError("Choose a sample of its lines to try the description on.")
    raw = upload_bytes(upload, MAX_SAMPLE_BYTES)
    description, sample = sample_try(text=form.cleaned_data["text"], raw=raw)
    shown = as_json(sample, description)
    shown["more_arcs"] = max(0, len(shown["arcs"]) - SHOWN)
    shown["more_rejects"] = max(0, len(shown["rejects"]) - SHOWN)
    shown["arcs"], shown["rejects"] = shown["arcs"][:SHOWN], shown["rejects"][:SHOWN]
    return {**shown, "name": upload.name}


def _save(request: DeskRequest, form: SourceForm, feed: Feed | None) -> None:
    name = form.cleaned_data["name"]
    if feed is None and Feed.objects.filter(name=name).exists():
        raise ValidationError(f"There is a source {name} already; change it on its own page.")
    done = source_register(
        name=name, text=form.cleaned_data["text"].replace("\r\n", "\n"),
        by=request.user.get_username(), source_name="description",
    )  # fmt: skip
    made = f" Table {done.table.name} was made." if done.new_table else ""
    messages.success(request, f"{name}, version {done.feed.version}.{made}")


@right(FEEDS)
@require_POST
def act(request: DeskRequest, name: str) -> HttpResponse:
    feed = get_object_or_404(Feed, name=name)
    what = request.POST.get("do", "")
    if what in ("on", "off"):
        feed_set_enabled(feed=feed, enabled=what == "on")
    elif what == "master":
        feed_set_master(feed=feed)
    elif what == "clock":
        form = ClockForm(request.POST)
        if form.is_valid():
            clock_correct(
                feed=feed, offset_us=round(form.cleaned_data["seconds"] * 1e6),
                by=request.user.get_username(), reason=form.cleaned_data["reason"],
            )  # fmt: skip
        else:
            messages.error(request, "The clock was left as it was: say how many seconds and why.")
    return redirect("source", name)


@right(FEEDS)
@require_POST
def seen(request: DeskRequest, pk: int) -> HttpResponse:
    alarm_clear(alarm=get_object_or_404(Alarm, pk=pk))
    return redirect("sources")
