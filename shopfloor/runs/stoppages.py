"""Time a table stood still, and why."""

from __future__ import annotations

from datetime import datetime

from django.db import transaction
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_

from shopfloor.audit.undo_record import UndoRecord
from shopfloor.background.request import request_work
from shopfloor.errors import FloorError
from shopfloor.models import Evidence, Reason, Run, Stoppage, Table, User

NOT_SIGNED_IN = N_("not signed in")  # the note of a stop that nobody's name stands under


def reason_of(code: str) -> Reason | None:
    """The reason with this code; None for no code. An unknown one is an error."""
    if not code:
        return None
    found = Reason.objects.filter(code=code, active=True).first()
    if found is None:
        raise FloorError(
            _("There is no reason {code!r}.").format(code=code), _("Choose one from the list.")
        )
    return found


@transaction.atomic
def stoppage_open(
    *,
    table: Table,
    at: datetime,
    by: User | None,
    run: Run | None = None,
    reason: Reason | None = None,
    note: str = "",
    ended_at: datetime | None = None,
    evidence: str = Evidence.ENTERED,
    undo_record: UndoRecord | None = None,
) -> Stoppage:
    """Begins a stoppage. One that is open at the table already is given the reason instead: two
    people may press the same stop."""
    undo_record = undo_record or UndoRecord()
    standing = Stoppage.objects.filter(table=table, ended_at=None, started_at__lte=at).first()
    if standing is not None:
        undo_record.change(
            standing,
            reason=reason or standing.reason,
            note=(note or _note_under(standing, by))[:200],
            by=by or standing.by,
            ended_at=ended_at,
        )
        found = standing
    else:
        found = undo_record.create(
            Stoppage(
                table=table,
                run=run,
                reason=reason,
                started_at=at,
                ended_at=ended_at,
                evidence=evidence,
                note=note[:200],
                by=by,
            )
        )
    _wants(found)
    return found


@transaction.atomic
def stoppage_close(
    *, stoppage: Stoppage, at: datetime, undo_record: UndoRecord | None = None
) -> float:
    """Ends a stoppage; returns its seconds."""
    ended = max(at, stoppage.started_at)
    (undo_record or UndoRecord()).change(stoppage, ended_at=ended)
    _wants(stoppage)
    return (ended - stoppage.started_at).total_seconds()


@transaction.atomic
def stoppage_explain(
    *,
    stoppage: Stoppage,
    reason: Reason,
    by: User,
    note: str = "",
    undo_record: UndoRecord | None = None,
) -> None:
    """Gives a stoppage its reason, or another one."""
    note = note or _note_under(stoppage, by)
    (undo_record or UndoRecord()).change(stoppage, reason=reason, by=by, note=note[:200])
    _wants(stoppage)


def _note_under(stoppage: Stoppage, by: User | None) -> str:
    """Its note, once somebody's name stands under it."""
    return "" if by is not None and stoppage.note == NOT_SIGNED_IN else stoppage.note


def _wants(stoppage: Stoppage) -> None:
    if stoppage.run_id is not None:
        request_work(kind="run", key=str(stoppage.run_id))
