"""A start that is entered after its arcs have begun."""

from __future__ import annotations

from datetime import datetime, timedelta

from django.utils.dateparse import parse_datetime
from django.utils.translation import gettext as _

from shopfloor.actions.request import ActionRequest
from shopfloor.errors import FloorError
from shopfloor.models import RunState, Table
from shopfloor.runs.queries import current_run

BACK = timedelta(hours=12)


def began(request: ActionRequest, table: Table) -> datetime:
    """When the run began: payload `since` (an ISO time, or "now"), else when it was entered.
    Raises `FloorError` where another run was on the table then."""
    said = request.text("since")
    if said in ("", "now"):
        return request.at
    try:
        at = parse_datetime(said)
    except ValueError:
        at = None
    if at is None or at.tzinfo is None:
        raise FloorError(_("since: {said!r} is not a time with an offset.").format(said=said))
    if not request.at - BACK <= at <= request.at:
        raise FloorError(_("A start begins at most 12 hours back."), _("Ask the supervisor."))
    there = current_run(table, at)
    later = table.runs.exclude(state=RunState.VOIDED).filter(opened_at__gte=at).exists()
    if there is not None or later:
        raise FloorError(_("Another run was on the table since then."), _("Start it from now."))
    return at
