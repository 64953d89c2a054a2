"""Badge, PIN, hand-over and signing out."""

from __future__ import annotations

from uuid import uuid4

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET, require_POST

from planning.calc.dates import timed_s
from shopfloor.actions.services import action_receive
from shopfloor.errors import PinLocked
from shopfloor.models import Table, Terminal, User
from shopfloor.people.badges import pin_verify
from shopfloor.people.security import security_event
from shopfloor.terminal.access import at_table, crew, crew_joins, crew_leaves
from shopfloor.terminal.board import open_run
from shopfloor.terminal.forms import SignInForm
from shopfloor.terminal.views.sign_in_page import signin_page


@require_POST
@at_table
def sign_in(request: HttpRequest, terminal: Terminal, table: Table) -> HttpResponse:
    there = crew(request, terminal, table) if request.POST.get("beside") == "yes" else []
    beside = bool(there)
    form = SignInForm(request.POST)
    person = form.who() if form.is_valid() else None
    problem = pin_problem(person, form)
    if problem or person is None:
        leaving = there[0] if there else None
        return signin_page(
            request, terminal, table, beside=beside, problem=problem, chosen=person, leaving=leaving
        )
    crew_joins(request, terminal, table, person, alone=not beside)
    if beside:
        handed_over(person, terminal, table)
    return redirect("floor:table", table.code)


def handed_over(person: User, terminal: Terminal, table: Table) -> None:
    """The run goes on under the new person's name from here; nothing is cut short."""
    now = timezone.now()
    if open_run(table, now) is None:
        return
    action_receive(
        envelope={
            "id": str(uuid4()),
            "kind": "handover",
            "payload": {"table": table.code},
            "at": now.isoformat(),
        },
        person=person,
        terminal=terminal,
        now=now,
        table=table,
    )


def pin_problem(person: User | None, form: SignInForm) -> str:
    """What stands in the way, in words; blank where the PIN was right."""
    if person is None:
        security_event("pin_failed")
        return _(
            "Nobody known by that badge or name. Scan again, or touch your name; then the PIN."
        )
    try:
        right = pin_verify(user=person, pin=form.cleaned_data["pin"], now=timezone.now())
    except PinLocked as locked:
        security_event("pin_waits", about=person)
        until = timezone.localtime(locked.until)
        return _("{message} Try again from {until}, or ask the office for a new PIN.").format(
            message=locked.message, until=timed_s(until)
        )
    if right:
        return ""
    security_event("pin_failed", about=person)
    return _("That PIN is not right. Try again.")


@require_GET
@at_table
def hand_over(request: HttpRequest, terminal: Terminal, table: Table) -> HttpResponse:
    there = crew(request, terminal, table)
    if not there:
        return redirect("floor:table", table.code)
    return signin_page(request, terminal, table, beside=True, leaving=there[0])


@require_POST
@at_table
def sign_out(request: HttpRequest, terminal: Terminal, table: Table) -> HttpResponse:
    crew_leaves(request, terminal, table)
    return redirect("floor:table", table.code)
