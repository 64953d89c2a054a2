"""What has to be looked at again once rows of the floor changed."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime

from django.db import models
from django.db.models import Q

from shopfloor.background.request import request_work
from shopfloor.models import (
    BenchEntry,
    Check,
    Fitting,
    Inspection,
    PartResult,
    Piece,
    Run,
    Segment,
    Stoppage,
    Table,
)
from shopfloor.runs.assigning import arcs_matched
from shopfloor.runs.parts import jobs_settle


def rows_changed(rows: Iterable[models.Model], *, now: datetime) -> None:
    """After rows were put back: arcs are matched again, jobs opened or closed, and whatever is
    computed from runs and pieces is wanted."""
    since: dict[Table, datetime] = {}
    lines: set[int] = set()
    for row in rows:
        run = _run_of(row)
        if run is not None:
            request_work(kind="run", key=str(run.pk))
        if isinstance(row, Run | Segment | Stoppage):
            table, start = _place_of(row)
            since[table] = min(start, since.get(table, start))
        if isinstance(row, Fitting | Inspection):
            request_work(kind="piece", key=str(row.piece_id))
        if isinstance(row, Fitting):
            late = Q(ended_at=None) | Q(ended_at__gt=row.fitted_at)
            segments = Segment.objects.filter(late, torch=row.torch_id)
            for key in segments.values_list("run", flat=True).distinct():
                request_work(kind="run", key=str(key))
        if isinstance(row, Piece) and row.pk:
            request_work(kind="piece", key=str(row.pk))
        if isinstance(row, PartResult | BenchEntry):
            lines.add(row.line_id)
    for table, start in since.items():
        arcs_matched(table=table, start=start, end=now, now=now)
    jobs_settle(lines=lines, at=now, corrected=True)
    for line in lines:
        request_work(kind="line", key=str(line))


def _run_of(row: models.Model) -> Run | None:
    if isinstance(row, Run):
        return row
    if isinstance(row, Segment | PartResult | Check | Stoppage):
        return row.run
    return None


def _place_of(row: Run | Segment | Stoppage) -> tuple[Table, datetime]:
    if isinstance(row, Run):
        return row.table, row.opened_at
    if isinstance(row, Segment):
        return row.torch.table, row.started_at
    return row.table, row.started_at
