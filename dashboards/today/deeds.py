"""What is done from the day's page: arcs given to a run, a reason given, a line left."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponseBase
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST, require_safe

from dashboards import data, theme
from dashboards.access import desk
from dashboards.today import undo
from shopfloor.errors import FloorError
from shopfloor.people.rights import ASSIGN
from shopfloor.runs import desk as deeds
from shopfloor.wording.numbers_in import row_number

MOST = 600
NEAR = timedelta(hours=3)


@desk(ASSIGN)
@require_safe
def arcs(request: HttpRequest) -> HttpResponseBase:
    """A stretch of arcs without a run, and everything it could have been."""
    first, some = request.GET.get("first", ""), request.GET.get("arcs", "")
    try:
        loose = data.unassigned_stretch(first, row_number(some))
    except LookupError as gone:
        return render(request, "kerfbook/today/arcs.html", {"gone": str(gone)}, status=404)
    near = data.runs_between(loose.start - NEAR, loose.end + NEAR)
    table = data.table_name(loose.table)
    unlike = {(one.run, one.revision_id): one for one in loose.suggestions}
    context = {
        "loose": loose,
        "first": loose.keys[0],
        "part": bool(some),
        "pauses": data.arc_pauses(loose),
        "table": table,
        "suggestions": list(unlike.values()),
        "near": [run for run in near if run.table == table],
        "nests": data.nest_names(),
    }
    return render(request, "kerfbook/today/arcs.html", context)


@desk(ASSIGN)
@require_POST
def assign_arcs(request: HttpRequest) -> HttpResponseBase:
    now, user = data.now(), _user(request)
    said = request.POST.get("revision_id", "")
    revision = row_number(said)
    if said and revision is None:  # without one the arcs would be set aside
        return _refused(
            request,
            FloorError(
                _("There is no nest {said!r}.").format(said=said[:20]), _("Choose it again.")
            ),
        )
    try:
        given = deeds.assign_arcs(
            first_key=request.POST.get("first_key", ""),
            arcs=_whole(request.POST.get("arcs", ""), MOST),
            run_id=request.POST.get("run_id", ""),
            revision_id=revision,
            nest=request.POST.get("nest", ""),
            by=user,
            now=now,
        )
    except FloorError as refused:
        return _refused(request, refused)
    data.notes_look(now)
    many = theme.count(len(given.keys), "{n} arc", "{n} arcs")
    said = (
        _("{many} given to {nest}.").format(many=many, nest=given.nest)
        if given.run_id
        else _("{many} marked as no job.").format(many=many)
    )
    undo.remember(request, said=said, now=now, keys=list(given.keys), steps=list(given.steps))
    if not given.steps:
        return redirect("today")
    messages.success(
        request, _("{said} On Today it can be taken back for ten minutes.").format(said=said)
    )
    return redirect("run", given.run_id)


@desk(ASSIGN)
@require_POST
def unassign_arcs(request: HttpRequest) -> HttpResponseBase:
    now = data.now()
    kept = undo.offered(request, now)
    undo.forget(request)
    if kept is None:
        messages.warning(request, _("That is too long ago to take back here."))
        return redirect("today")
    try:
        deeds.unassign_arcs(keys=kept["keys"], steps=kept["steps"], by=_user(request), now=now)
    except FloorError as refused:
        return _refused(request, refused)
    data.notes_look(now)
    messages.success(
        request,
        _("Taken back: {arcs} loose again.").format(
            arcs=theme.count(len(kept["keys"]), "{n} arc", "{n} arcs")
        ),
    )
    return redirect("today")


@desk(ASSIGN)
def reason(request: HttpRequest, stoppage_id: int) -> HttpResponseBase:
    """Gives a stoppage its reason."""
    try:
        seen = data.stoppage(stoppage_id)
    except LookupError as gone:
        raise Http404(str(gone)) from gone
    if request.method == "POST":
        try:
            deeds.stoppage_reason_give(
                stoppage_id=stoppage_id,
                reason_code=request.POST.get("reason", ""),
                note=request.POST.get("note", ""),
                by=_user(request),
            )
        except FloorError as refused:
            return _refused(request, refused)
        data.notes_look(data.now())
        messages.success(request, _("The stoppage has its reason."))
        return redirect("today")
    context = {"seen": seen, "reasons": data.reasons()}
    return render(request, "kerfbook/today/reason.html", context)


@desk()
@require_POST
def line(request: HttpRequest) -> HttpResponseBase:
    """Leaves a line for the next shift."""
    try:
        deeds.add_shift_note(text=request.POST.get("text", ""), by=_user(request), now=data.now())
    except FloorError as refused:
        return _refused(request, refused)
    messages.success(request, _("Your line is on the page."))
    return redirect("today")


def _refused(request: HttpRequest, refused: FloorError) -> HttpResponseBase:
    messages.error(request, f"{refused.message} {refused.hint}".strip())
    return redirect("today")


def _user(request: HttpRequest) -> Any:
    return request.user


def _whole(text: str, most: int) -> int:
    """A count as typed, `most` where it is none."""
    return min(row_number(text) or most, most)
