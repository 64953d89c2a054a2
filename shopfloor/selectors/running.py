"""What runs at a table, and who did what of it."""

from __future__ import annotations

from datetime import datetime

from shopfloor.models import Run, RunState, Table


def current_run(table: Table, at: datetime) -> Run | None:
    """The run at a table at a time: the open one, else one stopped there and not set aside (nobody
    ended its last segment), else one that was closed after `at`."""
    runs = (
        table.runs.filter(opened_at__lte=at)
        .exclude(state=RunState.VOIDED)
        .select_related("table", "sheet__heat", "revision__nest__wear_set", "queue_item")
        .order_by("-opened_at")
    )
    return (
        runs.filter(state=RunState.OPEN).first()
        or runs.filter(state=RunState.STOPPED, segments__end_reason="").first()
        or runs.filter(closed_at__gte=at).first()
    )
