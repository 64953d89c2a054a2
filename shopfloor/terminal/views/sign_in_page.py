"""The page that asks for badge or name, and PIN."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils.translation import gettext as _
from django.views.decorators.csrf import ensure_csrf_cookie

from shopfloor.models import Run, RunState, Stoppage, Table, Terminal, User
from shopfloor.people.floor_people import floor_people
from shopfloor.runs.queries import stop_reasons
from shopfloor.site.queries import shop_zone, the_shop
from shopfloor.terminal.words import clock, facts_of, nest_title


@ensure_csrf_cookie
def signin_page(
    request: HttpRequest,
    terminal: Terminal,
    table: Table,
    *,
    beside: bool = False,
    problem: str = "",
    chosen: User | None = None,
    leaving: User | None = None,
) -> HttpResponse:
    """`leaving`: who hands over, and is therefore not among those it can be handed to."""
    stop = standing(table)
    context = {
        "table": table,
        "terminal": terminal,
        "zone": shop_zone(),
        "people": [one for one in floor_people() if one != leaving],
        "beside": beside,
        "problem": problem,
        "chosen": chosen,
        "demo": the_shop().is_demo,
        "lately": lately(table, stop),
        "reasons": [] if beside or stop else stop_reasons(),
    }
    return render(request, "terminal/signin.html", context)


def standing(table: Table) -> Stoppage | None:
    return Stoppage.objects.filter(table=table, ended_at=None).select_related("reason").first()


def lately(table: Table, stop: Stoppage | None) -> str:
    """What goes on at the table while nobody is signed in: run and stop do not end with that."""
    if stop is not None:
        reason = f", {stop.reason.label}" if stop.reason else ""
        return _("stopped at {started_at}{reason}").format(
            started_at=clock(stop.started_at), reason=reason
        )
    run = (
        Run.objects.filter(table=table, state=RunState.OPEN)
        .select_related("revision__nest")
        .order_by("-opened_at")
        .first()
    )
    if run is None:
        return ""
    facts = facts_of([run.revision_id])[run.revision_id]
    return _("{revision} goes on").format(revision=nest_title(run.revision, facts))
