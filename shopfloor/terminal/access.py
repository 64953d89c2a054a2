"""Which screen this is, and who stands at it. Kept apart from the desk's sign-in: a person at a
terminal is nobody to the office pages, whatever else they may do at a desk."""

from __future__ import annotations

import re
from collections.abc import Callable
from datetime import datetime, timedelta
from functools import wraps
from typing import Concatenate, ParamSpec

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.utils import timezone
from django.utils.dateparse import parse_datetime
from django.utils.translation import gettext as _

from shopfloor.models import ScreenSignIn, SignInEnd, Table, Terminal, User
from shopfloor.people.badges import terminal_by_token
from shopfloor.people.rights import FLOOR, may
from shopfloor.people.screen_sign_ins import signin_begin, signins_end

COOKIE = "kerfbook_terminal"
COOKIE_DAYS = 400  # the longest browsers keep one; renewed at each opening of the page
SESSION = "floor"
AWAY_MOST = timedelta(hours=12)  # a shift without network, and no longer
NETWORK_S = 15  # what an answer may have taken on its way: no sleep
TOUCH_S = 20  # how often a touch is written down
P = ParamSpec("P")


def this_terminal(request: HttpRequest) -> Terminal | None:
    token = request.COOKIES.get(COOKIE, "")
    return terminal_by_token(token=token, now=timezone.now()) if token else None


def at_table(
    view: Callable[Concatenate[HttpRequest, Terminal, Table, P], HttpResponse],
) -> Callable[..., HttpResponse]:
    """Hands a view its terminal and table. A screen that is not registered, or stands beside
    another table, is sent to the page that says so."""

    @wraps(view)
    def inner(request: HttpRequest, table: str, *args: P.args, **kwargs: P.kwargs) -> HttpResponse:
        terminal = this_terminal(request)
        found = Table.objects.filter(code=table, active=True).first()
        if terminal is None or found is None or terminal.table_id not in (None, found.pk):
            if request.method == "GET" and "text/html" in request.headers.get(_("Accept"), ""):
                return redirect("floor:home")
            return HttpResponse(_("This screen is not registered for that table."), status=403)
        return view(request, terminal, found, *args, **kwargs)

    return inner


def crew(request: HttpRequest, terminal: Terminal, table: Table) -> list[User]:
    """Who is signed in here, the one who acts first. Empty once the screen stood idle too long."""
    return [one.person for one in crew_signins(request, terminal, table)]


def crew_signins(request: HttpRequest, terminal: Terminal, table: Table) -> list[ScreenSignIn]:
    kept = request.session.get(SESSION, {}).get(table.code)
    if not kept or "signins" not in kept:
        return []
    touched = parse_datetime(kept["touched"])
    idle = timedelta(minutes=terminal.idle_minutes, seconds=TOUCH_S + 10)
    # One touched in the future was touched before the clock was set back: nobody knows how long.
    if touched is None or abs(timezone.now() - touched) > idle:
        crew_leaves(request, terminal, table)
        return []
    rows = ScreenSignIn.objects.filter(terminal=terminal, table=table, ended_at=None)
    found = rows.select_related("person").in_bulk(kept["signins"])
    there = [found[pk] for pk in kept["signins"] if pk in found]
    return [one for one in there if one.person.is_active and may(one.person, FLOOR)]


def crew_joins(
    request: HttpRequest, terminal: Terminal, table: Table, person: User, *, alone: bool
) -> None:
    """Signs a person in at the screen: alone, or beside who is there already (hand-over)."""
    now = timezone.now()
    there = [] if alone else crew(request, terminal, table)
    people = [person, *(one for one in there if one.pk != person.pk)][:2]
    stay = [one.pk for one in people]
    signins_end(by=SignInEnd.SIGNED_OUT, now=now, terminal=terminal, table=table, but=stay)
    signins = [
        signin_begin(person=one, terminal=terminal, table=table, now=now).pk for one in people
    ]
    request.session.cycle_key()
    kept = request.session.get(SESSION, {})
    request.session[SESSION] = {**kept, table.code: {"signins": signins, "touched": _now()}}


def crew_leaves(request: HttpRequest, terminal: Terminal, table: Table) -> None:
    signins_end(by=SignInEnd.SIGNED_OUT, now=timezone.now(), terminal=terminal, table=table)
    kept = request.session.get(SESSION, {})
    if table.code in kept:
        request.session[SESSION] = {code: one for code, one in kept.items() if code != table.code}


def crew_touched(request: HttpRequest, table: Table) -> None:
    """Notes that someone used the screen; written at most every TOUCH_S."""
    kept = request.session.get(SESSION, {})
    one = kept.get(table.code)
    if not one:
        return
    before = parse_datetime(one["touched"])
    if before is None or timezone.now() - before > timedelta(seconds=TOUCH_S):
        request.session[SESSION] = {**kept, table.code: {**one, "touched": _now()}}


def crew_was_busy(request: HttpRequest, terminal: Terminal, table: Table) -> None:
    """Takes a screen's word that it was touched while it had no network, for one stay: of a screen
    that was not heard of for longer the people are signed out as before."""
    said = idle_said_s(request)
    one = request.session.get(SESSION, {}).get(table.code)
    before = parse_datetime(one["touched"]) if one else None
    if one is None or before is None or said is None:
        return
    idle = timedelta(minutes=terminal.idle_minutes)
    if said >= idle.total_seconds():
        return
    touched = timezone.now() - timedelta(seconds=said)
    if idle < touched - before < AWAY_MOST:
        kept = {**one, "touched": touched.isoformat()}
        request.session[SESSION] = {**request.session[SESSION], table.code: kept}


def idle_said_s(request: HttpRequest) -> int | None:
    """Seconds since somebody touched the screen. It counts them itself, by no clock that can be
    set; what passed here since it last heard of us (`heard_ms`) and it did not count (`counted_s`)
    it slept, and nobody knows who came by: that counts as idle too."""
    said = [request.GET.get(name, "") for name in ("idle_s", "heard_ms", "counted_s")]
    idle, heard, counted = (int(one) if re.fullmatch(r"[0-9]{1,14}", one) else None for one in said)
    if idle is None or heard is None or counted is None:
        return idle
    passed = int(timezone.now().timestamp()) - heard // 1000
    return idle + max(passed - counted - NETWORK_S, 0)


def _now() -> str:
    moment: datetime = timezone.now()
    return moment.isoformat()


def cookie_set(response: HttpResponse, token: str, *, secure: bool) -> None:
    response.set_cookie(
        COOKIE,
        token,
        max_age=COOKIE_DAYS * 24 * 3600,
        httponly=True,
        secure=secure,
        samesite="Lax",
        path="/floor/",
    )
