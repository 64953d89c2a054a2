"""A second badge and PIN under a first piece. The PIN is checked here and kept nowhere, so this
needs the connection."""

from __future__ import annotations

from uuid import uuid4

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_http_methods

from shopfloor.actions.services import action_receive
from shopfloor.models import ActionState, Table, Terminal, User
from shopfloor.people.floor_people import floor_people
from shopfloor.quality.floor.first_piece_card import Signature, signature_wanted
from shopfloor.site.queries import shop_zone
from shopfloor.terminal.access import at_table, crew
from shopfloor.terminal.board import open_run
from shopfloor.terminal.forms import SignInForm
from shopfloor.terminal.views.people import pin_problem


@require_http_methods(["GET", "POST"])
@at_table
def countersign(request: HttpRequest, terminal: Terminal, table: Table) -> HttpResponse:
    run = open_run(table, timezone.now())
    wanted = signature_wanted(run) if run else None
    there = crew(request, terminal, table)
    if not there or wanted is None:
        return redirect("floor:table", table.code)
    problem, person = "", None
    if request.method == "POST":
        form = SignInForm(request.POST)
        person = form.who() if form.is_valid() else None
        problem = pin_problem(person, form)
        if not problem and person is not None:
            problem = signed(wanted, person, terminal, table)
            if not problem:
                return redirect("floor:table", table.code)
    context = {
        "table": table,
        "terminal": terminal,
        "zone": shop_zone(),
        "wanted": wanted,
        "words": wanted.words((person or there[0]).units),
        "chosen": person,
        "problem": problem,
        "people": [
            one for one in floor_people() if one.pk != wanted.by and not one.needs_countersign
        ],
    }
    return render(request, "quality/floor_countersign.html", context)


def signed(wanted: Signature, person: User, terminal: Terminal, table: Table) -> str:
    """What the books said against it; blank where it is signed."""
    now = timezone.now()
    action = action_receive(
        envelope={
            "id": str(uuid4()),
            "kind": "countersign",
            "payload": {"check": wanted.check, "table": table.code},
            "at": now.isoformat(),
        },
        person=person,
        terminal=terminal,
        now=now,
        table=table,
        pin_given=True,
    )
    if action.state == ActionState.APPLIED:
        return ""
    return f"{action.result.get('message', '')} {action.result.get('hint', '')}".strip()
