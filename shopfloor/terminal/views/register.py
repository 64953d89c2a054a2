"""Registering a screen: by a code made at a desk, or by a supervisor who signs in here."""

from __future__ import annotations

from django.conf import settings
from django.contrib import messages
from django.contrib.auth import logout
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect
from django.shortcuts import render
from django.urls import reverse
from django.utils import timezone
from django.utils.crypto import get_random_string
from django.utils.translation import gettext as _
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_http_methods

from shopfloor.errors import FloorError
from shopfloor.models import Table, Terminal, User
from shopfloor.people.address import client_address
from shopfloor.people.badges import terminal_register
from shopfloor.people.rights import FEEDS, FLOOR, PLAN, may
from shopfloor.people.screen_codes import screen_code_use
from shopfloor.terminal.access import cookie_set, this_terminal
from shopfloor.terminal.forms import CodeForm, RegisterForm


def may_register(user: object) -> bool:
    """Administrators, and supervisors of the floor."""
    if not isinstance(user, User):
        return False
    floor_lead = may(user, FLOOR) and may(user, PLAN)
    return may(user, FEEDS) or floor_lead


@never_cache
@require_http_methods(["GET", "POST"])
def register(request: HttpRequest) -> HttpResponse:
    by_code = "code" in request.POST
    lead = may_register(request.user)
    code_form = CodeForm(request.POST if by_code else None)
    posted = request.POST if request.method == "POST" and not by_code else None
    form = RegisterForm(posted) if lead else None
    response: HttpResponse | None = None
    if by_code and code_form.is_valid():
        response = _by_code(request, code_form)
    elif form is not None and form.is_valid():
        table = form.cleaned_data["table"]
        response = registered(request, name=form.cleaned_data["name"], table=table)
    if response is not None:
        logout(request)  # the screen is shared from here on; nobody's desk stays open on it
        messages.success(request, _("This screen is registered; no desk sign-in is open on it."))
        return response
    refused = posted is not None and not lead
    shown = {"form": form, "code_form": code_form, "refused": refused}
    return render(request, "terminal/register.html", shown, status=403 if refused else 200)


def registered(request: HttpRequest, *, name: str, table: Table) -> HttpResponseRedirect:
    """Registers the screen, or moves it: it keeps its code, and what was entered at the other
    table and not sent yet still goes in there."""
    known = this_terminal(request)
    letters = get_random_string(6, "abcdefghjkmnpqrstuvwxyz23456789")
    code = known.code if known is not None else f"{table.code[:30]}-{letters}"
    return _opened(*terminal_register(code=code, name=name[:80], table=table))


def _by_code(request: HttpRequest, form: CodeForm) -> HttpResponse | None:
    try:
        made = screen_code_use(
            typed=form.cleaned_data["code"], address=client_address(request), now=timezone.now()
        )
    except FloorError as error:
        form.add_error("code", f"{error.message} {error.hint}")
        return None
    return _opened(*made)


def _opened(terminal: Terminal, token: str) -> HttpResponseRedirect:
    table = terminal.table
    home = reverse("floor:table", args=[table.code]) if table else reverse("floor:home")
    response = HttpResponseRedirect(home)
    cookie_set(response, token, secure=settings.SESSION_COOKIE_SECURE)
    return response
