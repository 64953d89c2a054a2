"""When a piece comes to its end, if each table's list is cut in its order and as planned: the
starts of the run that is open and of what waits, in the time the table is staffed."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

import numpy as np

from planning.calc.ahead.clock import StaffedClock
from planning.calc.life.ahead import Step, reached
from planning.inputs.open_work import LONGEST_RUN
from planning.inputs.shifts import ShiftBook
from planning.inputs.table_time import clock_of
from planning.reports.queue import Queued, queue_plans
from shopfloor.models import Fitting, Run, RunState, Table
from shopfloor.runs.arcs import from_us
from telemetry.read_once import read_once

AHEAD = timedelta(days=14)
LEFT = ("starts_left", "left_low", "left_high")


@dataclass(frozen=True, slots=True)
class DueAt:
    """`likely` for the middle of what is left, `first` and `last` for its ends (80 in 100); None
    where the list, as far as it is planned, ends before. `within`: the nest that is cut then."""

    likely: datetime | None
    first: datetime | None
    last: datetime | None
    within: str
    starts: int  # of this set on the list
    unplanned: bool  # something on the list has no plan: nothing after it is timed


@read_once()
def due_times(*, now: datetime, torch: int | None = None) -> dict[int, DueAt]:
    """By piece in a torch, or in this one, that has an outlook with a range."""
    rows = (
        Fitting.objects.filter(removed_at=None, fitted_at__lte=now)
        .exclude(piece__outlook__left_low=None)
        .select_related("piece__outlook", "piece__part__wear_set", "torch__table")
        .only(
            "piece", "torch__table__code", *_named("piece__part__wear_set"),
            *(f"piece__outlook__{name}" for name in LEFT),
        )
    )  # fmt: skip
    if torch is not None:
        rows = rows.filter(torch=torch)
    by_table: dict[Table, list[Fitting]] = defaultdict(list)
    for row in rows:
        by_table[row.torch.table].append(row)
    if not by_table:
        return {}
    ids = [table.pk for table in by_table]
    waiting: dict[int, list[Queued]] = defaultdict(list)
    for item in queue_plans(tables=ids, jobs=False):
        waiting[item.table_id].append(item)
    runs = _on_tables(ids)
    opened = [run.opened_at for own in runs.values() for run in own]
    shifts = ShiftBook(max(min([now, *opened]), now - LONGEST_RUN), now + AHEAD)
    found = {}
    for table, fitted in by_table.items():
        whole = clock_of(shifts, table.code)
        going = [_left(run, whole, now) for run in runs[table.pk]]
        on_s = max((left or 0.0 for _n, _s, left, _starts in going), default=None)
        clock = whole.worked_now(now.timestamp(), on_s).from_now(now.timestamp())
        for fitting in fitted:
            wear_set = str(fitting.piece.part.wear_set)
            steps, planned = _steps(going, waiting[table.pk], wear_set)
            found[fitting.piece_id] = _due(fitting, steps, clock, unplanned=not planned)
    return found


Going = tuple[str, str, float | None, int]  # nest, set, seconds left, starts left


def _on_tables(tables: Iterable[int]) -> dict[int, list[Run]]:
    """The runs that are open, by table."""
    found: dict[int, list[Run]] = defaultdict(list)
    runs = Run.objects.filter(table__in=list(tables), state=RunState.OPEN)
    for run in runs.select_related("revision__nest__wear_set").only(
        "table", "opened_at", "plan", "revision__nest__name", *_named("revision__nest__wear_set")
    ):
        found[run.table_id].append(run)
    return found


def _named(wear_set: str) -> list[str]:
    """What a set is called by."""
    return [f"{wear_set}__{name}" for name in ("code", "duty", "current_a")]


def _left(run: Run, clock: StaffedClock, now: datetime) -> Going:
    """What is left of a run by its plan and the staffed time gone."""
    nest, total = run.revision.nest, run.plan.get("total_s")
    if not total:
        return nest.name, str(nest.wear_set), None, 0
    whole = total + (run.plan.get("load_s") or 0.0)
    passed = clock.staffed(now.timestamp()) - clock.staffed(run.opened_at.timestamp())
    rest = max(0.0, whole - passed)
    starts = round(int(run.plan.get("pierces") or 0) * min(1.0, rest / total))
    return nest.name, str(nest.wear_set), rest, starts


def _steps(
    going: Sequence[Going], waiting: Sequence[Queued], wear_set: str
) -> tuple[list[Step], bool]:
    """The work as far as it is planned, and whether all of it is."""
    whole = [*going, *((one.nest, one.wear_set, one.total_s, one.starts or 0) for one in waiting)]
    steps: list[Step] = []
    for name, of_set, seconds, starts in whole:
        if seconds is None:
            return steps, False
        steps.append(Step(name, seconds, starts if of_set == wear_set else 0))
    return steps, True


def _due(fitting: Fitting, steps: Sequence[Step], clock: StaffedClock, *, unplanned: bool) -> DueAt:
    outlook = fitting.piece.outlook
    within = ""
    moments: list[datetime | None] = []
    for left in (getattr(outlook, name) for name in LEFT):
        at = None if left is None else reached(steps, left)
        moments.append(None if at is None else _wall(clock, at.seconds))
        if at is not None and len(moments) == 1:
            within = at.name
    likely, first, last = moments
    starts = sum(step.starts for step in steps)
    return DueAt(likely, first, last, within, starts, unplanned)


def _wall(clock: StaffedClock, seconds: float) -> datetime | None:
    wall = float(clock.wall(np.array([max(seconds, 1e-6)]))[0])
    return from_us(round(wall * 1_000_000)) if np.isfinite(wall) else None
