"""A run that nobody started, made from its arcs."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime, timedelta

from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from shopfloor.audit.actor import acting
from shopfloor.audit.undo_record import UndoRecord
from shopfloor.errors import FloorError
from shopfloor.models import (
    NestRevision,
    QueueItem,
    Run,
    RunState,
    SheetState,
    Table,
    Torch,
    User,
)
from shopfloor.runs.arcs import arcs_by_key, from_us
from shopfloor.runs.follow import arcs_assign
from shopfloor.runs.matching_input import ASSIGNED
from shopfloor.runs.services import run_open
from shopfloor.site.queries import the_shop


@transaction.atomic
def run_from_arcs(
    *,
    revision: NestRevision,
    arc_keys: Sequence[str],
    by: User,
    why: str,
    now: datetime | None = None,
    undo_record: UndoRecord | None = None,
) -> Run:
    """Makes a run of this nest over these arcs of one torch and gives them to it, with the set
    that was in the torch then and the entry (and sheet) that waits for it in the table's list. It
    is stopped: its parts still have to be counted. Where the last arc is so near that the sheet
    may still burn, the run is open."""
    now = now or timezone.now()
    undo_record = undo_record or UndoRecord()
    arcs = arcs_by_key(list(arc_keys))
    if not arcs or len({(arc.table, arc.torch) for arc in arcs}) != 1:
        raise FloorError(_("Choose arcs of one torch."))
    table = Table.objects.get(code=arcs[0].table)
    torch, _made = Torch.objects.get_or_create(table=table, code=arcs[0].torch)
    end = from_us(max(arc.off_us or arc.on_us for arc in arcs))
    waiting = QueueItem.objects.filter(nest=revision.nest, table=table, state="waiting")
    item = waiting.select_related("sheet").order_by("position").first()
    sheet = item.sheet if item else None
    with acting(f"user:{by.get_username()}", why=why):
        run = run_open(
            revision=revision,
            table=table,
            torch=torch,
            operator=None,
            at=from_us(arcs[0].on_us),
            sheet=sheet if sheet and sheet.state == SheetState.IN_STOCK else None,
            queue_item=item,
            undo_record=undo_record,
        )
        if now - end > timedelta(seconds=the_shop().run_gap_s):
            run.segments.update(ended_at=end, end_reason=ASSIGNED)
            undo_record.change(run, state=RunState.STOPPED)
        arcs_assign(arc_keys=arc_keys, run=run, by=by, why=why, now=now)
    return run
