"""One box over everything with a name."""

from __future__ import annotations

from django.http import HttpResponse
from django.shortcuts import redirect, render

from shopfloor.search.queries import found, only
from shopfloor.web.access import ANY, DeskRequest, right


@right(*ANY)
def find(request: DeskRequest) -> HttpResponse:
    """A whole name that was typed or scanned opens at once; else what holds it is listed."""
    text = request.GET.get("q", "").strip()[:80]
    groups = found(text)
    one = only(groups)
    if one is not None and "list" not in request.GET:
        return redirect(one.page, one.key)
    count = sum(len(group.rows) + group.more for group in groups)
    return render(request, "search/find.html", {"text": text, "groups": groups, "count": count})
