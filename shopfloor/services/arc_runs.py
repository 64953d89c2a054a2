"""A run that nobody started, made from its arcs."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime

from django.db import transaction
from django.utils import timezone

from shopfloor.acting import acting
from shopfloor.errors import FloorError
from shopfloor.models import Evidence, NestRevision, Run, RunState, Segment, Table, Torch, User
from shopfloor.selectors.arcs import arcs_by_key, from_us
from shopfloor.selectors.matching_input import ASSIGNED
from shopfloor.services.follow import arcs_assign
from shopfloor.services.runs import plan_snapshot


@transaction.atomic
def run_from_arcs(
    *,
    revision: NestRevision,
    arc_keys: Sequence[str],
    by: User,
    why: str,
    now: datetime | None = None,
) -> Run:
    """Opens a run of this nest over these arcs of one torch and gives them to it. It is stopped,
    not finished: its parts still have to be counted."""
    now = now or timezone.now()
    arcs = arcs_by_key(list(arc_keys))
    if not arcs or len({(arc.table, arc.torch) for arc in arcs}) != 1:
        raise FloorError("Choose arcs of one torch.")
    table = Table.objects.get(code=arcs[0].table)
    torch, _ = Torch.objects.get_or_create(table=table, code=arcs[0].torch)
    start = from_us(arcs[0].on_us)
    end = from_us(max(arc.off_us or arc.on_us for arc in arcs))
    wear_set = revision.nest.wear_set
    with acting(f"user:{by.get_username()}", why=why):
        run = Run.objects.create(
            revision=revision,
            table=table,
            state=RunState.STOPPED,
            opened_at=start,
            evidence=Evidence.MEASURED,
            plan=plan_snapshot(revision, table, wear_set),
        )
        Segment.objects.create(
            run=run,
            torch=torch,
            wear_set=wear_set,
            started_at=start,
            ended_at=end,
            end_reason=ASSIGNED,
        )
        arcs_assign(arc_keys=arc_keys, run=run, by=by, why=why, now=now)
    return run
