"""When the jobs of a shop will be done, from the draws of each table's list.

A job is done with the last of its sheets, on whatever table that waits: draw by draw the latest of
them, never a sum or a maximum of quantiles. Sheets that are on no list yet are taken to be put
behind what waits, those due first in front (Jackson 1955: earliest due date first has the least
greatest lateness on one machine), each on the table where it costs least; of tables that cost the
same, on the one that would be done with it first. Draws of different tables are independent: not
valid where one crane or one operator serves two tables and keeps both waiting.
"""

from __future__ import annotations

import math
from collections.abc import Hashable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from planning.calc.ahead.clock import StaffedClock
from planning.calc.ahead.draws import Ahead, Finishes, Worlds, finishes
from planning.calc.ahead.scores import widened

Floats = NDArray[np.float64]

LEVELS: Final = (0.5, 0.8, 0.9, 0.95)  # chances a day can be promised at
WILL: Final = 0.8  # from here on a job counts as in time
HARDLY: Final = 0.5  # below this it will hardly be


@dataclass(frozen=True, slots=True)
class Route:
    """A sheet on one table: seconds its cutting is planned to take, what its runs share (`cell`),
    and what it costs in any one unit, which only chooses among tables."""

    plan_s: float
    cell: Hashable
    cost: float


@dataclass(frozen=True, slots=True)
class Sheet:
    """One burning of a nest that is still to come. `due` is the earliest of its jobs', epoch s."""

    key: Any
    nest: Hashable
    wear_set: Hashable
    jobs: frozenset[Hashable]
    routes: Mapping[Any, Route]
    due: float = math.inf


@dataclass(frozen=True)
class TableAhead:
    """A table with what waits on it. `under_way` is the sheet it is at, whose `rest` the worlds
    know; `set_now` is in its torch."""

    key: Any
    clock: StaffedClock
    worlds: Worlds
    waits: tuple[Sheet, ...] = ()
    under_way: Sheet | None = None
    set_now: Hashable = None
    unlisted_from: int = 0  # places in `waits` from here on are ours, not the list's
    scale: float = 1.0  # ranges of its ends are to be widened by it (`scores.widened`)

    @property
    def sheets(self) -> tuple[Sheet, ...]:
        return (() if self.under_way is None else (self.under_way,)) + self.waits

    def runs(self) -> list[Ahead]:
        """Its sheets as the model of its time draws them; the set changes where the next asks."""
        before, found = self.set_now, []
        for sheet in self.sheets:
            route = sheet.routes[self.key]
            change = before is not None and sheet.wear_set != before
            found.append(Ahead(route.plan_s, route.cell, sheet.nest, change))
            before = sheet.wear_set
        return found


def placed(
    tables: Sequence[TableAhead], unlisted: Iterable[Sheet], handling_s: Mapping[Any, float]
) -> tuple[list[TableAhead], list[Sheet]]:
    """The tables with the sheets that are on no list behind their own, and those that no table
    has a plan for. `handling_s`: of each table, what one sheet takes beside its plan."""
    load = {
        one.key: sum(sheet.routes[one.key].plan_s + handling_s[one.key] for sheet in one.sheets)
        for one in tables
    }
    clocks = {one.key: one.clock.from_now(one.worlds.now.at) for one in tables}
    waits = {one.key: list(one.waits) for one in tables}
    left: list[Sheet] = []

    def done(key: Hashable, route: Route) -> float:
        at = load[key] + handling_s[key] + route.plan_s
        return float(clocks[key].wall(np.array([at]))[0])

    for sheet in sorted(unlisted, key=lambda one: one.due):
        routes = [(key, sheet.routes[key]) for key in waits if key in sheet.routes]
        if not routes:
            left.append(sheet)
            continue
        least = min(route.cost for _key, route in routes)
        alike = [one for one in routes if one[1].cost == least]
        key, route = alike[0] if len(alike) == 1 else min(alike, key=lambda one: done(*one))
        waits[key].append(sheet)
        load[key] += handling_s[key] + route.plan_s
    found = [
        replace(one, waits=tuple(waits[one.key]), unlisted_from=len(one.waits)) for one in tables
    ]
    return found, left


@dataclass(frozen=True)
class Drawn:
    """The lists drawn through their calendars: of each table its finishes, of each job the wall
    times (epoch s, one a draw) at which its last sheet is done; inf beyond the calendar."""

    tables: Mapping[Any, Finishes]
    jobs: Mapping[Any, Floats] = field(default_factory=dict)

    def chance(self, job: Hashable, due: float) -> float:
        return chance(self.jobs[job], due)


def drawn(tables: Sequence[TableAhead]) -> Drawn:
    found = {one.key: _widened(one) for one in tables}
    jobs: dict[Any, Floats] = {}
    for one in tables:
        wall = found[one.key].wall
        for place, sheet in enumerate(one.sheets):
            for job in sheet.jobs:
                ends = wall[:, place]
                jobs[job] = ends if job not in jobs else np.maximum(jobs[job], ends)
    return Drawn(found, jobs)


def _widened(one: TableAhead) -> Finishes:
    found = finishes(one.worlds, one.runs(), one.clock)
    wall = [widened(found.wall[:, place], one.scale) for place in range(found.wall.shape[1])]
    return replace(found, wall=np.stack(wall, axis=1)) if wall else found


def chance(ends: Floats, due: float) -> float:
    """The share of the draws that are done by then."""
    return float((ends <= due).mean())


def promised(ends: Floats, level: float) -> float:
    """The earliest moment by which at least `level` of the draws are done; inf where the calendar
    ends before."""
    place = math.ceil(round(level * len(ends), 9)) - 1
    return float(np.sort(ends)[max(place, 0)])


def load_s(
    found: Finishes, clock: StaffedClock, now: float, days: Sequence[tuple[float, float]]
) -> Floats:
    """(runs, days): mean staffed seconds that each run takes of each stretch of wall time, from
    the end of the run before it to its own."""
    ahead = clock.from_now(now)
    edges = np.array([[ahead.staffed(start), ahead.staffed(end)] for start, end in days])
    ends = found.staffed
    starts = np.concatenate([np.zeros((len(ends), 1)), ends[:, :-1]], axis=1)
    share = np.zeros((ends.shape[1], len(days)))
    for place, (first, last) in enumerate(edges):
        took = np.minimum(ends, last) - np.maximum(starts, first)
        share[:, place] = np.maximum(took, 0.0).mean(axis=0)
    return share


def moved(tables: Sequence[TableAhead], job: Hashable, to: Hashable) -> list[TableAhead] | None:
    """The job's waiting sheets at the head of another table's list; None where none can move."""
    going = [
        sheet
        for one in tables
        if one.key != to
        for sheet in one.waits
        if job in sheet.jobs and to in sheet.routes
    ]
    if not going:
        return None
    keys = {sheet.key for sheet in going}
    return [
        _waiting(one, [*going, *one.waits] if one.key == to else
                 [sheet for sheet in one.waits if sheet.key not in keys])
        for one in tables
    ]  # fmt: skip


def first(tables: Sequence[TableAhead], job: Hashable) -> list[TableAhead] | None:
    """The job's sheets before all that wait on the same tables; None where they are already."""
    found = [
        _waiting(one, sorted(one.waits, key=lambda sheet: job not in sheet.jobs)) for one in tables
    ]
    same = all(a.waits == b.waits for a, b in zip(found, tables, strict=True))
    return None if same else found


def _waiting(one: TableAhead, waits: Sequence[Sheet]) -> TableAhead:
    return replace(one, waits=tuple(waits))
