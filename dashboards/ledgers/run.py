"""One run as a strip: its arcs, stoppages and sets, from its own frames."""

from __future__ import annotations

from datetime import datetime
from typing import Literal
from zoneinfo import ZoneInfo

from django.utils.translation import gettext as _

from dashboards.records import records
from planning.reports.shapes import RunDetail
from shopfloor.chart.duties import fitted_set
from shopfloor.svg.strip.types import Arc, FittedSet, Run, Stoppage, StripTable, stoppage_kind
from shopfloor.svg.strip.words import EPOCH

MICROSECOND = 1_000_000
LEAST_US = 60 * MICROSECOND


def micros(moment: datetime) -> int:
    """Integer microseconds UTC of an aware moment."""
    return round((moment - EPOCH).total_seconds() * MICROSECOND)


def strip_of(run: RunDetail, zone: ZoneInfo, now: datetime) -> tuple[StripTable, Run]:
    """The run's own window as a strip table, and the run in it."""
    start = micros(run.opened_at)
    arcs = records(run.arcs)
    ends = [row["off_us"] or row["on_us"] for row in arcs]
    end = micros(run.closed_at) if run.closed_at else max([*ends, micros(now)])
    end = max([end, start + LEAST_US, *ends])
    first = min([start, *(row["on_us"] for row in arcs)])
    state: Literal["done", "cutting"] = "done" if run.closed_at else "cutting"
    drawn = Run(first, end, run.nest, state)
    table = StripTable(
        name=run.table,
        start_us=first,
        end_us=end + 1,
        now_us=micros(now),
        zone=zone,
        arcs=tuple(
            Arc(int(row["on_us"]), int(row["off_us"] or end), "run" if row["off_us"] else "open")
            for row in arcs
        ),
        stoppages=tuple(_stoppages(run, first, end)),
        sets=tuple(_sets(run)),
        runs=(drawn,),
    )
    return table, drawn


def _stoppages(run: RunDetail, first: int, end: int) -> list[Stoppage]:
    found = []
    for row in records(run.stoppages):
        begin = max(micros(row["started_at"]), first)
        until = min(micros(row["ended_at"]), end) if row["ended_at"] else end
        if until >= begin:
            kind = stoppage_kind(reasoned=bool(row["reason"]), planned=bool(row["planned"]))
            found.append(Stoppage(begin, until, row["reason"] or _("no reason given"), kind))
    return found


def _sets(run: RunDetail) -> list[FittedSet]:
    found: list[FittedSet] = []
    for row in records(run.segments):
        if not found or found[-1].label != row["wear_set"]:
            found.append(fitted_set(micros(row["started_at"]), row["duty"], row["wear_set"]))
    return found
