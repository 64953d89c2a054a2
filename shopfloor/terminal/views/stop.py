"""A stop by whoever stands there, without signing in: only a stop with its reason, nothing else."""

from __future__ import annotations

from django.db import transaction
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST

from shopfloor.audit.actor import acting
from shopfloor.errors import FloorError
from shopfloor.models import RunState, Table, Terminal
from shopfloor.runs.queries import current_run
from shopfloor.runs.stoppages import NOT_SIGNED_IN, reason_of, stoppage_open
from shopfloor.terminal.access import at_table
from shopfloor.terminal.views.sign_in_page import signin_page


@require_POST
@at_table
def stop(request: HttpRequest, terminal: Terminal, table: Table) -> HttpResponse:
    try:
        with acting(f"screen:{terminal.code}", why=_("stop without signing in")):
            stopped(table, request.POST.get("reason", "")[:60])
    except FloorError as problem:
        return signin_page(request, terminal, table, problem=f"{problem.message} {problem.hint}")
    return redirect("floor:table", table.code)


@transaction.atomic
def stopped(table: Table, code: str) -> None:
    """Begins a stop in nobody's name; one that stands already is left as it is."""
    reason = reason_of(code)
    if reason is None:
        raise FloorError(_("Why is it stopped?"), _("Touch a reason."))
    Table.objects.select_for_update(no_key=True).get(pk=table.pk)
    now = timezone.now()
    if table.stoppages.filter(ended_at=None).exists():
        raise FloorError(_("The table is stopped already."), _("Sign in to change its reason."))
    run = current_run(table, now)
    if run is not None and run.state not in (RunState.OPEN, RunState.STOPPED):
        run = None
    stoppage_open(table=table, run=run, at=now, by=None, reason=reason, note=NOT_SIGNED_IN)
    if run is not None and run.state == RunState.OPEN:
        run.state = RunState.STOPPED
        run.save(update_fields=["state"])
