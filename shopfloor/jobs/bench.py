"""Work at the bench, booked on a line."""

from __future__ import annotations

from datetime import datetime

from django.db import transaction
from django.utils.translation import gettext as _

from planning.calc.numbers import filled
from shopfloor.audit.undo_record import UndoRecord
from shopfloor.background.request import request_work
from shopfloor.errors import FloorError
from shopfloor.models import Action, BenchEntry, JobLine, User

BENCH_KINDS = ("dross", "edge", "holes", "flatten")


@transaction.atomic
def bench_record(
    *,
    line: JobLine,
    kind: str,
    minutes: float,
    by: User,
    at: datetime,
    action: Action | None = None,
    undo_record: UndoRecord | None = None,
) -> BenchEntry:
    """Minutes at the bench for a line."""
    if kind not in BENCH_KINDS:
        raise FloorError(
            _("{kind!r} is none of {bench_kinds}.").format(
                kind=kind, bench_kinds=", ".join(BENCH_KINDS)
            )
        )
    if not 0 < minutes <= 24 * 60:
        raise FloorError(
            filled(_("{minutes:g} minutes?"), minutes=minutes), _("Above 0, a day at most.")
        )
    entry = (undo_record or UndoRecord()).create(
        BenchEntry(line=line, kind=kind, minutes=minutes, at=at, by=by, action=action),
        undo={"negate": "minutes"},
    )
    request_work(kind="line", key=str(line.pk))
    return entry
