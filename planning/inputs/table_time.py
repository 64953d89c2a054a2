"""What each table did, for the model of the work ahead."""

from __future__ import annotations

from bisect import bisect_right
from collections import defaultdict
from collections.abc import Iterable, Mapping
from datetime import datetime, timedelta
from itertools import pairwise

import numpy as np

from planning.calc.ahead.book import Pause, RunLog, TableBook
from planning.calc.ahead.clock import StaffedClock
from planning.inputs.arcs import assigned_arcs
from planning.inputs.shifts import ShiftBook
from planning.inputs.stored_time import cell_of
from shopfloor.models import Run, RunState, Segment, Stoppage, Table
from shopfloor.runs.arcs import to_us

S = 1_000_000


def table_books(
    tables: Iterable[Table],
    start: datetime,
    now: datetime,
    until: datetime,
    *,
    last_only: bool = False,
) -> dict[int, TableBook]:
    """By table: its runs opened from `start` to `now` that were measured, its stoppages, and its
    staffed clock from `start` to `until`. `last_only`: of each table only the run opened last, with
    arcs only while it goes on, which is all that `now_at` asks."""
    book = ShiftBook(start, until)
    tables = list(tables)
    runs_of = [table.pk for table in tables]
    runs = _runs(runs_of, start, now, last_only=last_only)
    pauses: dict[int, list[Pause]] = defaultdict(list)
    rows = Stoppage.objects.filter(table__in=runs_of, started_at__gte=start, started_at__lt=now)
    for one in rows.select_related("reason").order_by("started_at"):
        ended = to_us(one.ended_at) if one.ended_at else to_us(now)
        pauses[one.table_id].append(Pause(to_us(one.started_at) / S, ended / S, one.planned))
    return {
        table.pk: TableBook(
            runs.get(table.pk, ()), pauses.get(table.pk, ()), clock_of(book, table.code), 0, place
        )
        for place, table in enumerate(tables)
    }


def clock_of(book: ShiftBook, table: str) -> StaffedClock:
    """A table's shifts less their breaks and the time it is down. Shifts that touch or overlap are
    one: nobody stops. Where the shop has set none, every day is one."""
    shifts, worked = book.worked_at(table), book.staffed_at(table)
    of_shift = [bisect_right(shifts, start, key=lambda shift: shift[0]) for start, _ in worked]
    last = [one != after for one, after in pairwise([*of_shift, -1])]
    return StaffedClock(
        np.array([start for start, _ in worked], dtype=float) / S,
        np.array([end for _, end in worked], dtype=float) / S,
        np.array(last, dtype=bool),
    )


def _runs(
    tables: list[int], start: datetime, now: datetime, *, last_only: bool
) -> Mapping[int, list[RunLog]]:
    these = (
        Run.objects.filter(table__in=tables, opened_at__gte=start, opened_at__lt=now)
        .exclude(state=RunState.VOIDED)
        .order_by("opened_at", "pk")
    )
    of_runs = Segment.objects.filter(
        run__table__in=tables, run__opened_at__gte=start, run__opened_at__lt=now
    )
    if last_only:
        last = list(dict(these.values_list("table", "pk")).values())
        these, of_runs = these.filter(pk__in=last), Segment.objects.filter(run__in=last)
    rows = list(
        these.values_list(
            "pk", "table", "opened_at", "closed_at", "revision__nest__pk",
            "revision__nest__material", "revision__nest__thickness_mm", "plan",
        )
    )  # fmt: skip
    going = {row[0] for row in rows if row[3] is None}
    segments: dict[int, object] = {}
    sets: dict[object, int] = {}  # of each run the last one
    in_order = of_runs.order_by("started_at", "pk").values_list("pk", "run", "wear_set")
    for segment, run, wear_set in in_order:
        sets[run] = wear_set
        if not last_only or run in going:
            segments[segment] = run
    span = (to_us(start - timedelta(days=1)), to_us(now))
    arcs: dict[object, list[tuple[float, float, int | None]]] = defaultdict(list)
    for arc in assigned_arcs(list(segments), span, to_us(now)):
        arcs[segments[arc.segment_id]].append((arc.on_us / S, arc.off_us / S, arc.contour))
    found: dict[int, list[RunLog]] = defaultdict(list)
    for pk, table, opened, closed, nest, material, thickness, plan in rows:
        found[table].append(
            RunLog(
                run=pk, cell=cell_of(sets.get(pk), material, thickness), nest=nest,
                wear_set=sets.get(pk), opened=opened.timestamp(),
                closed=closed.timestamp() if closed else None,
                arcs=tuple(arcs.get(pk, ())),
                cut_plan_s=plan.get("total_s"),  # loading lies beside it
                contour_s=tuple(plan.get("arcs_s") or ()),
            )
        )  # fmt: skip
    return found
