"""Help, for each person."""

from __future__ import annotations

from django.http import Http404, HttpResponse
from django.shortcuts import redirect, render

from shopfloor.web.access import DeskRequest, may_open, signed_in
from shopfloor.web.help_text import HELPS


@signed_in
def own(request: DeskRequest) -> HttpResponse:
    role = request.user.role if request.user.role in HELPS else "supervisor"
    return redirect("help", role)


@signed_in
def page(request: DeskRequest, role: str) -> HttpResponse:
    if role not in HELPS:
        raise Http404
    told = HELPS[role].to_reader()
    pages = [(*page, may_open(request.user, page[1])) for page in told.pages]
    return render(request, "web/help.html", {"help": told, "pages": pages, "roles": list(HELPS)})
