"""What a shop has besides runs: air readings, a count entered for a time nobody heard,
and a sheet counted twice. Drawn from a seed of its own, so that the history stays as it is."""

from __future__ import annotations

import uuid
from datetime import datetime, timedelta
from random import Random
from typing import Any
from zoneinfo import ZoneInfo

from shopfloor.actions.services import action_receive
from shopfloor.demo import cast
from shopfloor.demo.rows import History
from shopfloor.models import (
    AirReading,
    EnteredCount,
    Run,
    RunState,
    Table,
    Torch,
    User,
)
from shopfloor.runs.arcs import from_us
from shopfloor.runs.part_counts import by_line, parts_on_sheet
from shopfloor.site.calendar import shifts_between
from shopfloor.site.queries import shift_patterns

AIR_READ = 0.7  # of the shifts
US = 1_000_000


def odds(history: History, *, now: datetime, random: Random) -> None:
    """All but the count that comes late: that one needs its run worked out."""
    _air(now, random)
    _entered(history, now)


def _air(now: datetime, random: Random) -> None:
    users = {user.username: user for user in User.objects.all()}
    tables = {table.code: table for table in Table.objects.all()}
    zone = ZoneInfo(cast.demo_zone(now))
    rows = []
    for span in shifts_between(now - timedelta(days=28), now, shift_patterns(), zone):
        shift = next(one for one in cast.SHIFTS if one.name == span.name)
        for code, name in zip(shift.tables, shift.operators, strict=True):
            at = span.start + timedelta(minutes=random.uniform(5, 40))
            if at < now and random.random() < AIR_READ:
                kpa = round(random.gauss(610, 25), -1)
                rows.append(
                    AirReading(
                        table=tables[code], at=at, shift_date=span.date, shift=span.name,
                        flowing_kpa=kpa, drained=random.random() < 0.6, by=users[name],
                    )
                )  # fmt: skip
    AirReading.objects.bulk_create(rows)


def _entered(history: History, now: datetime) -> None:
    """What the supervisor noted for the time South's lines were not heard."""
    by = User.objects.get(username="dana")
    for code, begun, ended in history.silent:
        arcs = [
            arc
            for run in history.runs
            if run.lot.table == code
            for arc in run.arcs
            if begun <= arc.on <= ended
        ]
        EnteredCount.objects.create(
            torch=Torch.objects.get(table__code=code),
            started_at=from_us(round(begun * US)),
            ended_at=from_us(round(ended * US)),
            starts=len(arcs),
            arc_s=min(sum(arc.off - arc.on for arc in arcs), ended - begun),
            by=by,
            at=min(from_us(round(ended * US)) + timedelta(hours=1), now),
            why="counted on the table; the wire was pinched",
        )


def late_count(*, now: datetime) -> None:
    """Somebody without a network had counted a sheet that was finished meanwhile: both counts
    stand until a supervisor decides. Once; a load that is gone on with makes no second."""
    runs = Run.objects.filter(state=RunState.FINISHED, closed_at__lt=now - timedelta(hours=1))
    run = runs.select_related("revision", "table").order_by("-closed_at").first()
    if run is None or run.closed_at is None:
        return
    counts = by_line(parts_on_sheet(run.revision))
    parts: list[dict[str, Any]] = [{"line": line, "good": count} for line, count in counts.items()]
    parts[0] |= {"good": parts[0]["good"] - 1, "scrap": 1, "cause": "tipped part"}
    at = run.closed_at - timedelta(minutes=2)
    action_receive(
        envelope={
            "id": str(uuid.uuid5(uuid.NAMESPACE_OID, f"late count of {run.pk}")),
            "kind": "finish",
            "payload": {"run": str(run.pk), "table": run.table.code, "parts": parts},
            "at": at.isoformat(),
            "sent_at": now.isoformat(),
        },
        person=User.objects.get(username="per"),
        terminal=None,
        now=now,
    )
