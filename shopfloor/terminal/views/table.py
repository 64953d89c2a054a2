"""The terminal's one page, its state for the page to follow, and what a scanned code is."""

from __future__ import annotations

from typing import Any

from django.conf import settings
from django.http import HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import render
from django.template.loader import render_to_string
from django.utils import timezone
from django.views.decorators.cache import never_cache
from django.views.decorators.csrf import ensure_csrf_cookie
from django.views.decorators.http import require_GET

from shopfloor.models import ScreenSignIn, Table, Terminal
from shopfloor.nests.papers import paper_read
from shopfloor.site.queries import shop_zone
from shopfloor.terminal.access import (
    COOKIE,
    at_table,
    cookie_set,
    crew,
    crew_signins,
    crew_touched,
    crew_was_busy,
)
from shopfloor.terminal.board import board_of
from shopfloor.terminal.change_mark import mark_of
from shopfloor.terminal.scanned_code import code_words, plain
from shopfloor.terminal.scanned_start import scanned_item
from shopfloor.terminal.tokens import entry_token
from shopfloor.terminal.views.sign_in_page import signin_page
from shopfloor.wear.floor.torch_card import fitted_in


@require_GET
@never_cache
@ensure_csrf_cookie
@at_table
def page(request: HttpRequest, terminal: Terminal, table: Table) -> HttpResponse:
    signins = crew_signins(request, terminal, table)
    people = [one.person for one in signins]
    if not people:
        return signin_page(request, terminal, table)
    mark = mark_of(table=table, terminal=terminal, person=people[0], now=timezone.now())
    context = screens(terminal, table, signins[0], mark)
    context["names"] = " and ".join(one.shown_name for one in people)
    context["theme"] = people[0].theme or None
    response = render(request, "terminal/table.html", context)
    cookie_set(response, request.COOKIES[COOKIE], secure=settings.SESSION_COOKIE_SECURE)
    return response


@require_GET
@never_cache
@at_table
def state(request: HttpRequest, terminal: Terminal, table: Table) -> HttpResponse:
    """The screens again; 204 where they are what the page has, 401 where nobody is signed in.
    `idle_s`: seconds since somebody touched it, which a screen without network could not tell."""
    crew_was_busy(request, terminal, table)
    signins = crew_signins(request, terminal, table)
    people = [one.person for one in signins]
    if not people:
        return HttpResponse(status=401)
    if request.GET.get("touched"):
        crew_touched(request, table)
    now = timezone.now()
    mark = mark_of(table=table, terminal=terminal, person=people[0], now=now)
    if request.GET.get("have") == mark:
        response = HttpResponse(status=204)
    else:
        context = screens(terminal, table, signins[0], mark)
        response = render(request, "terminal/_screens.html", context)
    response.headers["X-Now-Ms"] = str(int(now.timestamp() * 1000))
    return response


def screens(terminal: Terminal, table: Table, signin: ScreenSignIn, mark: str) -> dict[str, Any]:
    """Everything the screens show. The mark was taken first: what changes meanwhile changes it."""
    now = timezone.now()
    return {
        "table": table,
        "terminal": terminal,
        "zone": shop_zone(),
        "board": board_of(table=table, terminal=terminal, person=signin.person, now=now),
        "version": mark,
        "now": now,
        "by": entry_token(signin),
    }


@require_GET
@at_table
def code(request: HttpRequest, terminal: Terminal, table: Table) -> HttpResponse:
    people = crew(request, terminal, table)
    if not people:
        return HttpResponse(status=401)
    text, void = paper_read(plain(request.GET.get("code", "")[:120]))
    if void:
        return JsonResponse({"words": void})
    now = timezone.now()
    board = board_of(table=table, terminal=terminal, person=people[0], now=now)
    inch = people[0].units == "inch"
    item = scanned_item(text, table, fitted_in(board.torches), inch=inch)
    if item is None:
        return JsonResponse({"words": code_words(text, table)})
    shown = {"board": board, "item": item, "table": table}
    return JsonResponse({"screen": render_to_string("runs/floor_start.html", shown)})
