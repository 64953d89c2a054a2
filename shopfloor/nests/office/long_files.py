"""A long file on its way in: how far it is, stopping it, what came of it."""

from __future__ import annotations

from django.contrib import messages
from django.http import HttpResponse, JsonResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST

from planning.calc.numbers import filled
from shopfloor.models import Incoming
from shopfloor.nests.long_files import OPEN, incoming_stop
from shopfloor.web.access import PLAN, DeskRequest, right


@right(PLAN)
def incoming(request: DeskRequest, pk: int) -> HttpResponse:
    found = get_object_or_404(Incoming.objects.select_related("by"), pk=pk)
    return render(
        request, "nests/long_file.html",
        {"incoming": found, "open": found.state in OPEN, "words": _words(found)},
    )  # fmt: skip


@right(PLAN)
def how_far(request: DeskRequest, pk: int) -> HttpResponse:
    found = get_object_or_404(Incoming, pk=pk)
    return JsonResponse(
        {"state": found.state, "words": _words(found), "done": found.done, "total": found.total}
    )


@right(PLAN)
@require_POST
def stop(request: DeskRequest, pk: int) -> HttpResponse:
    found = get_object_or_404(Incoming, pk=pk)
    if not incoming_stop(incoming=found):
        messages.error(request, _("It had ended already."))
    return redirect("incoming", pk)


def _words(found: Incoming) -> str:
    if found.state == "waiting":
        return _("Waiting for its turn.")
    if found.state == "reading":
        step = f"{found.step[:1].upper()}{found.step[1:]}"
        if not found.total:
            return f"{step}."
        words = _("{step}: {done:,} of {total:,}.")
        return filled(words, step=step, done=found.done, total=found.total)
    return found.said or found.state
