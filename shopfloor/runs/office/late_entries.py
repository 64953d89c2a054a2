"""Late entries: what came in after somebody else had closed the sheet, and the decision."""

from __future__ import annotations

from uuid import UUID

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST

from shopfloor.errors import FloorError
from shopfloor.models import Action
from shopfloor.runs.late_entries import action_resolve
from shopfloor.runs.late_queries import came_after, decided_lately, late_entries
from shopfloor.web.access import ASSIGN, PLAN, DeskRequest, right


@right(ASSIGN, PLAN)
def late(request: DeskRequest) -> HttpResponse:
    entries = late_entries()
    context = {
        "entries": entries,
        "counts": [one for one in entries if one.action.kind == "finish"],
        "starts": [one for one in entries if one.action.kind == "start"],
        "decided": decided_lately(),
        "after": came_after(now=timezone.now()),
    }
    return render(request, "runs/late_entries.html", context)


@right(ASSIGN, PLAN)
@require_POST
def decide(request: DeskRequest, pk: UUID) -> HttpResponse:
    """`do` is "take" or "aside"; `why` is kept beside both."""
    action = get_object_or_404(Action, pk=pk)
    do = request.POST.get("do", "")
    if do not in ("take", "aside"):
        messages.error(request, _("Take it, or set it aside."))
        return redirect("late")
    try:
        action_resolve(
            action=action,
            take=do == "take",
            by=request.user,
            why=request.POST.get("why", "").strip()[:200],
            now=timezone.now(),
        )
    except FloorError as problem:
        messages.error(request, f"{problem.message} {problem.hint}".strip())
    else:
        done = _("in the books now") if do == "take" else "rejected"
        messages.success(
            request,
            _("{shown_name}’s entry is {done}. Both are kept.").format(
                shown_name=action.person.shown_name, done=done
            ),
        )
    return redirect("late")
