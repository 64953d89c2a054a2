"""Signal sources: which are alive, what they could not say, adding and changing them."""

from __future__ import annotations

from collections.abc import Callable

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils.translation import gettext as _
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_POST

from planning.calc.numbers import filled
from shopfloor.sources.office.forms import ClockForm, ClockNowForm
from shopfloor.sources.queries import (
    instant,
    reject_reasons,
    source_alarms,
    source_clock,
    source_gaps,
    source_jumped_at,
    source_rejects,
    source_state,
    source_versions,
    sources_list,
)
from shopfloor.sources.services import clock_put_right, source_reread, source_token_issue
from shopfloor.sources.source_page import (
    description_of,
    source_collector,
    source_knows,
    source_turns,
    source_watchers,
)
from shopfloor.web.access import ANY, ASSIGN, FEEDS, DeskRequest, may, right
from shopfloor.web.forms import page_of
from shopfloor.wording.counts import count
from telemetry.errors import DescriptionError
from telemetry.models import Alarm, Feed
from telemetry.services import alarm_clear, clock_correct, feed_set_enabled


@right(*ANY)
def sources(request: DeskRequest) -> HttpResponse:
    manages = may(request.user, FEEDS)
    rows = sources_list(why=manages)
    return render(
        request,
        "sources/sources.html",
        {"sources": rows, "troubled": [row for row in rows if row.off_plan],
         "clocks_off": [row for row in rows if row.clock_off],
         "alarms": source_alarms(why=manages),
         "may_manage": manages},
    )  # fmt: skip


SORTS = ("received_us", "position", "reason")


@right(*ANY)
def source(request: DeskRequest, name: str) -> HttpResponse:
    feed = get_object_or_404(Feed, name=name)
    every = request.GET.get("rejects") == "all"
    manages = may(request.user, FEEDS)
    page = page_of(request, source_rejects(feed, open_only=not every), SORTS)
    rejects = [(reject, instant(reject.received_us)) for reject in page.object_list]
    return render(
        request,
        "sources/source.html",
        {
            "source": source_state(feed, why=manages), "feed": feed, "page_obj": page,
            "rejects": rejects, "every": every, "reasons": reject_reasons(feed),
            "gaps": source_gaps(feed),
            "versions": source_versions(feed), "alarms": source_alarms(feed, why=manages),
            "may_manage": manages, "may_assign": may(request.user, ASSIGN),
            "clock": source_clock(feed), "clock_form": ClockForm(),
            "clock_now_form": ClockNowForm(initial={"since": source_jumped_at(feed)}),
            "knows": source_knows(description_of(feed)), "watchers": source_watchers(feed),
            "took_over": source_turns(feed),
            "collector": source_collector(feed),
        },
    )  # fmt: skip


@right(FEEDS)
@require_POST
def act(request: DeskRequest, name: str) -> HttpResponse:
    feed = get_object_or_404(Feed, name=name)
    deed = DEEDS.get(request.POST.get("do", ""))
    if deed is not None:
        try:
            deed(request, feed)
        except (ValidationError, DescriptionError) as problem:
            messages.error(request, str(getattr(problem, "message", problem)))
    return redirect("source", name)


def _heard(enabled: bool) -> Callable[[DeskRequest, Feed], None]:
    return lambda request, feed: feed_set_enabled(feed=feed, enabled=enabled)


def _clock(request: DeskRequest, feed: Feed) -> None:
    form = ClockForm(request.POST)
    if not form.is_valid():
        raise ValidationError(_("The clock was left as it was: say how many seconds and why."))
    clock_correct(
        feed=feed, offset_us=round(form.cleaned_data["seconds"] * 1e6),
        by=request.user.get_username(), reason=form.cleaned_data["reason"],
    )  # fmt: skip


def _clock_now(request: DeskRequest, feed: Feed) -> None:
    form = ClockNowForm(request.POST)
    if not form.is_valid():
        raise ValidationError(_("The clock was left as it was: that is not a day and time."))
    made = clock_put_right(
        feed=feed, at=form.cleaned_data["since"], by=request.user.get_username(),
        reason=_("as lines arrive"),
    )  # fmt: skip
    messages.success(
        request,
        filled(_("{offset_us:.1f} s are added to its stamps."), offset_us=made.offset_us / 1e6),
    )


def _reread(request: DeskRequest, feed: Feed) -> None:
    looked, readable = source_reread(feed=feed, by=request.user.get_username())
    if readable:
        messages.success(
            request,
            _("{readable} of {lines} can be read now; intake takes them in.").format(
                readable=readable, lines=count(looked, "{n} line", "{n} lines")
            ),
        )
    else:
        lines = count(looked, "{n} line", "{n} lines")
        messages.error(
            request,
            _("None of the {lines} can be read by its description: change that first.").format(
                lines=lines
            ),
        )


DEEDS: dict[str, Callable[[DeskRequest, Feed], None]] = {
    "on": _heard(True),
    "off": _heard(False),
    "clock": _clock,
    "clock_now": _clock_now,
    "reread": _reread,
}


@right(FEEDS)
@require_POST
@never_cache
def token(request: DeskRequest, name: str) -> HttpResponse:
    """A new token for the collector of a pushed source, shown on this one answer only."""
    feed = get_object_or_404(Feed, name=name, kind="push")
    made = source_token_issue(feed=feed, by=request.user.get_username())
    url = request.build_absolute_uri(reverse("intake", args=[name]))
    return render(request, "sources/source_token.html", {"feed": feed, "token": made, "url": url})


@right(FEEDS)
@require_POST
def seen(request: DeskRequest, pk: int) -> HttpResponse:
    alarm_clear(alarm=get_object_or_404(Alarm, pk=pk))
    return redirect("sources")
