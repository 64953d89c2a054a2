"""Which table this screen stands beside: asked once."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_http_methods

from shopfloor.models import Table
from shopfloor.site.queries import the_shop
from shopfloor.terminal.access import this_terminal
from shopfloor.terminal.views.register import registered


@require_http_methods(["GET", "POST"])
def home(request: HttpRequest) -> HttpResponse:
    demo = the_shop().is_demo
    tables = list(Table.objects.filter(active=True))
    if request.method == "POST":
        chosen = next((one for one in tables if one.code == request.POST.get("table")), None)
        if demo and chosen is not None:
            return registered(request, name=f"demo screen, {chosen.name}", table=chosen)
        return redirect("floor:home")
    terminal = this_terminal(request)
    if terminal is not None and not demo and terminal.table is not None:
        return redirect("floor:table", terminal.table.code)
    known = terminal is not None
    return render(request, "terminal/home.html", {"tables": tables, "demo": demo, "known": known})
