"""Adding and changing a signal source: tried on a sample as it is written, kept when it works."""

from __future__ import annotations

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST

from shopfloor.sources.office.forms import SourceForm, example_text
from shopfloor.sources.services import source_register
from shopfloor.sources.trial import Trial, trial
from shopfloor.web.access import FEEDS, DeskRequest, right
from shopfloor.web.shown_values import kept_as_shown, shown
from telemetry.errors import DescriptionError
from telemetry.feeds.limits import Limits
from telemetry.models import Feed


@right(FEEDS)
def change(request: DeskRequest, name: str = "") -> HttpResponse:
    """Adds a source or gives one a new description; "try" decodes a sample and stores nothing."""
    feed = get_object_or_404(Feed, name=name) if name else None
    form = _form(request, feed)
    tried: Trial | None = None
    if request.method == "POST" and form.is_valid():
        try:
            tried = _tried(form, feed)
            keep = request.POST.get("do") != "try" and tried.may_be_kept
            if keep and _kept(request, form, feed, tried):
                return redirect("source", form.cleaned_data["name"])
            if not keep and request.POST.get("do") != "try":
                form.add_error("pasted", tried.verdict)
        except (DescriptionError, ValidationError) as problem:
            form.add_error("text", str(getattr(problem, "message", problem)))
    return render(
        request,
        "sources/source_change.html",
        {
            "form": form,
            "feed": feed,
            "tried": tried,
            "limits": Limits.of_shop(),
            "shown": shown(form, None, _known(feed)) if feed else "",
        },
    )


@right(FEEDS)
@require_POST
def attempt(request: DeskRequest, name: str = "") -> HttpResponse:
    """The same trial as a piece of page, asked for as the description changes."""
    feed = get_object_or_404(Feed, name=name) if name else None
    form = _form(request, feed)
    form.fields["name"].required = False
    tried, wrong = None, ""
    if form.is_valid():
        try:
            tried = _tried(form, feed)
        except (DescriptionError, ValidationError) as problem:
            wrong = str(getattr(problem, "message", problem))
    else:
        wrong = "; ".join(str(text) for texts in form.errors.values() for text in texts)
    return render(request, "sources/_trial_result.html", {"tried": tried, "wrong": wrong})


def _form(request: DeskRequest, feed: Feed | None) -> SourceForm:
    initial = {"name": feed.name if feed else "", **_known(feed)}
    form = SourceForm(request.POST or None, request.FILES or None, initial=initial)
    form.fields["name"].disabled = feed is not None
    return form


def _known(feed: Feed | None) -> dict[str, str]:
    """The description in force."""
    if feed is None:
        return {"text": example_text()}
    version = Feed.objects.values_list("version", flat=True).get(pk=feed.pk)
    text = feed.versions.get(version=version).text
    return {"text": text}


def _kept(request: DeskRequest, form: SourceForm, feed: Feed | None, tried: Trial) -> bool:
    return kept_as_shown(
        request, form, feed, lambda: _known(feed) if feed else {},
        lambda: _save(request, form, feed, tried),
    )  # fmt: skip


def _tried(form: SourceForm, feed: Feed | None) -> Trial:
    name, raw = form.sample_bytes()
    text = form.cleaned_data["text"].replace("\r\n", "\n")
    return trial(text=text, raw=raw, sample_name=name, feed=feed)


def _save(request: DeskRequest, form: SourceForm, feed: Feed | None, tried: Trial) -> None:
    name = form.cleaned_data["name"]
    if feed is None and Feed.objects.filter(name=name).exists():
        raise ValidationError(
            _("There is a source {name} already; change it on its own page.").format(name=name)
        )
    done = source_register(
        name=name, text=form.cleaned_data["text"].replace("\r\n", "\n"),
        by=request.user.get_username(), source_name="description",
    )  # fmt: skip
    said = [_("{name}, version {version}.").format(name=name, version=done.feed.version)]
    if done.new_table:
        said.append(_("Table {table} was made.").format(table=done.table.name))
    messages.success(request, " ".join([*said, str(tried.verdict)]))
