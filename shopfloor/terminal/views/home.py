"""Which table this screen stands beside: asked once."""

from __future__ import annotations

from django.conf import settings
from django.contrib import messages
from django.contrib.auth import logout
from django.contrib.auth.decorators import login_required
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils.crypto import get_random_string
from django.views.decorators.http import require_http_methods

from shopfloor.models import Table, User
from shopfloor.selectors.shop import the_shop
from shopfloor.services.people import terminal_register
from shopfloor.terminal.access import cookie_set, this_terminal
from shopfloor.terminal.forms import RegisterForm


def may_register(user: User) -> bool:
    """Administrators, and supervisors of the floor."""
    floor_lead = user.has_perm("shopfloor.work_floor") and user.has_perm("shopfloor.plan_work")
    return bool(user.has_perm("shopfloor.manage_feeds") or floor_lead)


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
    return render(
        request, "kerfbook/floor/home.html", {"tables": tables, "demo": demo, "known": known}
    )


@login_required
@require_http_methods(["GET", "POST"])
def register(request: HttpRequest) -> HttpResponse:
    user = request.user
    if not isinstance(user, User) or not may_register(user):
        return render(request, "kerfbook/floor/register_refused.html", status=403)
    form = RegisterForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        table = form.cleaned_data["table"]
        response = registered(request, name=form.cleaned_data["name"], table=table)
        logout(request)  # the screen is shared from here on; nobody's desk stays open on it
        messages.success(request, "This screen is registered, and the desk sign-in is closed.")
        return response
    return render(request, "kerfbook/floor/register.html", {"form": form})


def registered(request: HttpRequest, *, name: str, table: Table) -> HttpResponseRedirect:
    """Registers the screen, or moves it: it keeps its code, and what was entered at the other
    table and not sent yet still goes in there."""
    known = this_terminal(request)
    letters = get_random_string(6, "abcdefghjkmnpqrstuvwxyz23456789")
    code = known.code if known is not None else f"{table.code[:30]}-{letters}"
    _, token = terminal_register(code=code, name=name[:80], table=table)
    response = HttpResponseRedirect(reverse("floor:table", args=[table.code]))
    cookie_set(response, token, secure=settings.SESSION_COOKIE_SECURE)
    return response
