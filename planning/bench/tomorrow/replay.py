"""Statements made through a shop's past, each from what was known at its moment, and the truth."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from planning.calc.ahead.book import RunLog, TableBook, now_at, records_at
from planning.calc.ahead.clock import week_of
from planning.calc.ahead.draws import Ahead, Finishes, Now, Worlds, finishes
from planning.calc.ahead.fit import Fit, fit
from planning.calc.ahead.records import Typical
from planning.calc.ahead.scores import pit, scale, scaled

MOST_AHEAD: Final = 12
HOURS: Final = (0.25, 1.0, 2.25, 3.5, 5.0, 6.25, 7.5)  # after a shift's start
SCALED_BY: Final = (1.0, 6.25)  # whose statements say how far ranges must be widened
SWEEPS, KEPT = 260, 130  # fewer than the program's own: a replay fits a thousand times


@dataclass(frozen=True, slots=True)
class Ranged:
    """One run's finish: what the statement said of it (`pit`, before and after scaling), how many
    runs and set changes lay before it, and how many minutes later than the middle it came."""

    table: int
    shift: int
    hour: float
    runs_ahead: int
    changes_ahead: int
    raw: float
    pit: float
    late_min: float


@dataclass(frozen=True, slots=True)
class Promised:
    """The chance said that a run is done by the end of its shift, and whether it was."""

    hour: float
    said: float
    done: bool


@dataclass
class Replay:
    """`ends`: of each statement, the finish of what the shift would most likely get done."""

    ranges: list[Ranged]
    ends: list[Ranged]
    promises: list[Promised]


def replay(
    books: Sequence[TableBook],
    shifts: Sequence[int],
    typical: Typical,
    seed: int,
    hours: Sequence[float] = HOURS,
) -> Replay:
    """Statements at `hours` of those shifts (places in the tables' clocks), in order. The scale of
    each is what the statements of earlier shifts left."""
    found = Replay([], [], [])
    past: list[float] = []
    starts, ends = shift_spans(books[0])
    for shift in shifts:
        k, new = scale(past), []
        for hour in hours:
            at = starts[shift] + hour * 3600
            if at >= ends[shift]:
                continue
            fitted = fit(records_at(books, at, typical), seed + shift, sweeps=SWEEPS, kept=KEPT)
            for place, book in enumerate(books):
                end = _state(found, book, fitted, at, ends[shift], place, shift, hour, k, seed)
                if end is not None and hour in SCALED_BY:
                    new.append(end)
        past += new
    return found


def shift_spans(book: TableBook) -> tuple[list[float], list[float]]:
    """Wall start and end of each shift of a clock."""
    clock = book.clock
    first = np.concatenate([[True], clock.ends_shift[:-1]])
    return clock.starts[first].tolist(), clock.ends[clock.ends_shift].tolist()


def list_at(book: TableBook, at: float) -> tuple[list[RunLog], list[Ahead], Now]:
    """What is under way and what was cut next, as it was listed."""
    run, under_way = now_at(book, at)
    begun = [one for one in book.runs if one.opened <= at]
    coming = [one for one in book.runs if one.opened > at][:MOST_AHEAD]
    runs, ahead = [], []
    fitted = begun[-1].wear_set if begun else None
    for one in ([run] if run else []) + coming:
        whole = next(each for each in book.runs if each.run == one.run)
        if one.cut_plan_s is None or not whole.arcs:
            continue
        change = fitted is not None and one.wear_set != fitted and one is not run
        runs.append(whole)
        ahead.append(Ahead(one.cut_plan_s, one.cell, one.nest, change))
        fitted = one.wear_set
    return runs, ahead, Now(at, book.day(at), week_of(at), under_way)


def _state(
    found: Replay,
    book: TableBook,
    fitted: Fit,
    at: float,
    end: float,
    table: int,
    shift: int,
    hour: float,
    k: float,
    seed: int,
) -> float | None:
    runs, ahead, now = list_at(book, at)
    if not ahead:
        return None
    drawn = finishes(Worlds.of(fitted, now, seed + shift), ahead, book.clock)
    done = [max(off for _, off, _ in run.arcs) for run in runs]
    ranged, changes = [], 0
    for place, truth in enumerate(done):
        changes += ahead[place].change and place > 0
        ranged.append(_ranged(drawn, place, truth, k, (table, shift, hour), changes))
    found.ranges += ranged
    chances = drawn.chance_by(end)
    found.promises += [
        Promised(hour, float(said), truth <= end) for said, truth in zip(chances, done, strict=True)
    ]
    likely = np.flatnonzero(chances >= 0.5)
    if not len(likely):
        return None
    found.ends.append(ranged[int(likely[-1])])
    return ranged[int(likely[-1])].raw


def _ranged(
    drawn: Finishes, place: int, truth: float, k: float, where: tuple[int, int, float], changes: int
) -> Ranged:
    wall = drawn.wall[:, place]
    raw = pit(wall, truth)
    late = (truth - float(np.median(wall))) / 60
    return Ranged(*where, place + 1, changes, raw, scaled(raw, k), late)
