"""Statements made through a shop's past, each from what was known at its moment, and the truth."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from planning.calc.ahead.book import TableBook, records_at
from planning.calc.ahead.draws import Finishes, Worlds, finishes
from planning.calc.ahead.fit import Fit, fit
from planning.calc.ahead.past_list import list_at, shift_spans
from planning.calc.ahead.records import Typical
from planning.calc.ahead.scores import pit, scale, scaled

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
