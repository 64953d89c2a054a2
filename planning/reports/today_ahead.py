"""When a table's work ends, drawn from what its own runs took."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from numpy.typing import NDArray

from planning.calc.ahead.book import Pause, RunLog, TableBook, now_at
from planning.calc.ahead.clock import StaffedClock
from planning.calc.ahead.draws import Ahead, Finishes, Spent, UnderWay, finishes
from planning.calc.ahead.records import Step
from planning.calc.ahead.scores import LEVELS, level_asked, widened
from planning.inputs.stored_time import StoredTime
from planning.reports.queue import Queued
from planning.reports.today_data import RunToday, StopNow, TableData

S: Final = 1_000_000
DRAWS: Final = 1000
MOST: Final = 40  # runs of a list that are drawn
RANGE: Final = 0.8
BEYOND_S: Final = 60.0  # behind the calendar's end: a draw that it does not hold


@dataclass(frozen=True, slots=True)
class Listed:
    """A run of the list a statement is about. `run_id` of the one on the table, `item_id` of what
    waits; `plan_s` of its cutting, or what is left of it; `chance` that it is done by the end of
    the shift."""

    nest: str
    plan_s: float
    change: bool
    chance: float
    run_id: str | None = None
    item_id: int | None = None


@dataclass(frozen=True)
class Ends:
    """The last arc of the last run that is more likely than not done by the end of the shift (of
    the first one where none is): place `last` of `listed`. `quantiles` at `LEVELS`, epoch s, after
    widening by the fit's scale; `spent` the mean seconds until then by what they go to, `away_s`
    of breaks and closed time; `clock` as it is worked. No shift is laid out after `known_until`;
    what ends later lies behind it."""

    listed: tuple[Listed, ...]
    last: int
    quantiles: tuple[float, ...]
    raw: NDArray[np.float64]
    spent: Mapping[Spent, float]
    away_s: float
    mean: float
    stored: StoredTime
    known_until: float
    clock: StaffedClock

    def beyond(self, at: float) -> bool:
        """Whether a moment lies behind the shifts that are laid out, and nobody knows when."""
        return at > self.known_until

    @property
    def middle(self) -> float:
        return self.at(0.5)

    @property
    def low(self) -> float:
        return self.at(0.5 - RANGE / 2)

    @property
    def high(self) -> float:
        return self.at(0.5 + RANGE / 2)

    def at(self, level: float) -> float:
        return self.quantiles[LEVELS.index(round(level, 2))]

    @property
    def left(self) -> tuple[Listed, ...]:
        """What will more likely not be done in this shift."""
        likely = self.listed[self.last].chance >= 0.5
        return self.listed[self.last + likely :]


@dataclass(frozen=True, slots=True)
class Outlook:
    """`plan_s`: the plan of what is left and begins in this shift, s. Without `ends` no more is
    known: the table's time has not been fitted yet, or the run on it has no plan."""

    plan_s: float
    ends: Ends | None = None


def ends_of(
    data: TableData,
    current: RunToday | None,
    ahead: Sequence[Queued],
    clock: StaffedClock,
    now_us: int,
    until_us: int,
) -> Ends | None:
    """The end of the work on a table: of the run on it and of what waits, `ahead`."""
    stored, at = data.time, now_us / S
    if stored is None or (current is not None and current.cut_s is None):
        return None
    clock = clock.worked_now(at, None if current is None else current.cut_s or 0.0)
    run, under_way = _under_way(data, current, clock, at)
    runs, listed = _list(data, current if run is not None else None, ahead, under_way.rest_s)
    if not runs:
        return None
    found = finishes(stored.worlds(at, clock, under_way, DRAWS), runs, clock)
    return _ends(found, listed, stored, until_us / S, at, clock)


def _ends(
    found: Finishes,
    listed: Sequence[Listed],
    stored: StoredTime,
    until: float,
    at: float,
    clock: StaffedClock,
) -> Ends:
    known_until = clock.end(at)
    wall = np.where(np.isfinite(found.wall), found.wall, known_until + BEYOND_S)
    chances = [(widened(each, stored.scale) <= until).mean() for each in wall.T]
    likely = np.flatnonzero(np.array(chances) >= 0.5)
    last = int(likely[-1]) if len(likely) else 0
    levels = [level_asked(level, stored.scale) for level in LEVELS]
    mean = float(wall[:, last].mean())
    return Ends(
        listed=tuple(
            replace(one, chance=float(chance)) for one, chance in zip(listed, chances, strict=True)
        ),
        last=last,
        quantiles=tuple(float(one) for one in np.quantile(wall[:, last], levels)),
        raw=wall[:, last],
        spent=found.spent[last],
        away_s=mean - at - float(found.staffed[:, last].mean()),
        mean=mean,
        stored=stored,
        known_until=known_until,
        clock=clock,
    )


def _under_way(
    data: TableData, current: RunToday | None, clock: StaffedClock, at: float
) -> tuple[RunLog | None, UnderWay]:
    if current is not None and not data.hearing.listens:
        return _unheard(data, current, clock, at)
    runs = [run for run in data.runs if run is not current]
    runs += [current] if current is not None else []
    pauses = [Pause(stop.from_us / S, _end(stop), stop.planned) for stop in data.stops]
    book = TableBook([_log(data, run) for run in runs], pauses, clock, 0)
    return now_at(book, at)


def _end(stop: StopNow) -> float:
    """One that is open has no end yet."""
    return math.inf if stop.open else stop.to_us / S


def _unheard(
    data: TableData, run: RunToday, clock: StaffedClock, at: float
) -> tuple[RunLog, UnderWay]:
    """No arcs are heard from this table: its run is taken to go as planned."""
    load_s = data.time.fit.urns[Step.LOAD].mean_s if data.time else 0.0
    passed = clock.staffed(at) - clock.staffed(run.opened_at.timestamp()) - load_s
    return _log(data, run), UnderWay(rest_s=max((run.cut_s or 0.0) - max(passed, 0.0), 0.0))


def _log(data: TableData, run: RunToday) -> RunLog:
    own = {segment.pk for segment in run.segments}
    arcs = [
        (arc.on_us / S, arc.off_us / S, arc.contour) for arc in data.arcs if arc.segment_id in own
    ]
    return RunLog(
        run=run.run_id,
        cell=run.cell,
        nest=run.nest_id,
        wear_set=run.wear_set,
        opened=run.opened_at.timestamp(),
        closed=run.closed_at.timestamp() if run.closed_at else None,
        arcs=tuple(arcs),
        cut_plan_s=run.cut_s,
        contour_s=run.arcs_s,
    )


def _list(
    data: TableData, current: RunToday | None, ahead: Sequence[Queued], rest_s: float | None
) -> tuple[list[Ahead], list[Listed]]:
    """What is to be cut, in order: the run on the table, then what waits."""
    runs: list[Ahead] = []
    listed: list[Listed] = []
    fitted = data.runs[-1].wear_set if data.runs else None
    if fitted is None and data.fitted is not None:
        fitted = data.fitted[1]
    if current is not None:
        fitted = current.wear_set
        runs.append(Ahead(current.cut_s or 0.0, current.cell, current.nest_id))
        left_s = runs[0].plan_s if rest_s is None else rest_s
        listed.append(Listed(current.nest, left_s, False, 0.0, str(current.run_id)))
    for item in ahead[:MOST]:
        change = fitted is not None and item.wear_set != fitted
        fitted = item.wear_set
        plan_s = item.cut_s or 0.0
        runs.append(Ahead(plan_s, item.cell, item.nest_id, change))
        listed.append(Listed(item.nest, plan_s, change, 0.0, item_id=item.item_id))
    return runs, listed
