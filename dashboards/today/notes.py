"""The notes of a day, and a name put on one."""

from __future__ import annotations

from datetime import date, timedelta
from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponseBase
from django.shortcuts import redirect, render
from django.utils.http import url_has_allowed_host_and_scheme
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST, require_safe

from dashboards import data
from dashboards.access import desk, reader_of
from dashboards.today.addresses import note_view
from dashboards.today.shifts import EARLIEST
from planning.calc.dates import LONG_WEEKDAY_YEAR, dated
from planning.services.notes import note_seen
from shopfloor.site.calendar import day_span

DAY = timedelta(days=1)


@desk()
@require_safe
def day(request: HttpRequest) -> HttpResponseBase:
    """What wanted a hand on a day: from when to when, and who has seen it."""
    now, zone, reader = data.now(), data.zone(), reader_of(request.user)
    today = now.astimezone(zone).date()
    chosen, missing = _chosen(request.GET.get("day", ""), today)
    start, end = day_span(chosen, zone)
    rows = [
        {
            "note": note_view(one.note, reader, {}),
            "table": one.table,
            "began_at": one.began_at,
            "ended_at": one.ended_at,
            "took_s": ((one.ended_at or now) - one.began_at).total_seconds(),
            "seen": ", ".join(one.seen),
        }
        for one in data.notes_of(start, end, now)
    ]
    context: dict[str, Any] = {
        "rows": rows,
        "day": chosen,
        "title": dated(chosen, LONG_WEEKDAY_YEAR),
        "before": chosen - DAY if chosen > EARLIEST else None,
        "after": chosen + DAY if chosen < today else None,
        "missing": missing,
        "persons": reader.persons,
        "at": end,
    }
    status = 404 if missing else 200
    return render(request, "kerfbook/today/notes.html", context, status=status)


def _chosen(text: str, today: date) -> tuple[date, str]:
    """The day asked for, today where it is none, with why."""
    if not text:
        return today, ""
    try:
        chosen = date.fromisoformat(text)
    except ValueError:
        return today, _("{text!r} is not a date; one is written 2026-10-08.").format(text=text[:40])
    if not EARLIEST <= chosen <= today:
        return today, _("There are no notes of {day}.").format(day=dated(chosen))
    return chosen, ""


@desk()
@require_POST
def seen(request: HttpRequest, note_id: int) -> HttpResponseBase:
    """Puts the person's name on a note."""
    user: Any = request.user
    if note_seen(note_id=note_id, by=user, now=data.now()) is None:
        messages.error(request, _("There is no such note any more."))
    else:
        messages.success(request, _("Your name is on the note."))
    back = request.POST.get("back", "")
    if url_has_allowed_host_and_scheme(back, allowed_hosts=None):
        return redirect(back)
    return redirect("today")
