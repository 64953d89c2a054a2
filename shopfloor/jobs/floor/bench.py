"""Labour after the cut, from one line of a traveler."""

from __future__ import annotations

from typing import Any

from django.utils.translation import gettext as _

from shopfloor.actions.request import ActionRequest
from shopfloor.errors import FloorError
from shopfloor.jobs.bench import bench_record
from shopfloor.models import JobLine
from shopfloor.wording.numbers_in import row_number


def bench(request: ActionRequest) -> dict[str, Any]:
    line = _line(request.text("line"))
    minutes = request.number("minutes")
    if minutes is None:
        raise FloorError(_("How many minutes?"), ask="minutes")
    entry = bench_record(
        line=line,
        kind=request.text("kind"),
        minutes=minutes,
        by=request.person,
        at=request.at,
        action=request.action,
        undo_record=request.undo_record,
    )
    return {"bench": entry.pk, "line": line.pk}


def _line(named: str) -> JobLine:
    """By id, or as a traveler prints it: JOB/1."""
    lines = JobLine.objects.select_related("job")
    job, slash, number = named.rpartition("/")
    if slash:
        found = lines.filter(job__number=job, number=row_number(number) or 0).first()
    else:
        found = lines.filter(pk=row_number(named) or 0).first()
    if found is None:
        raise FloorError(
            _("There is no line {named!r}.").format(named=named),
            _("Scan the traveler again."),
            ask="line",
        )
    return found
