"""From a table's log of runs to the records the model learns from, and to what is under way."""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Sequence
from dataclasses import dataclass
from statistics import median
from typing import Final

from planning.calc.ahead.clock import StaffedClock, week_of
from planning.calc.ahead.draws import UnderWay
from planning.calc.ahead.records import Cut, Exposed, Handling, Records, Step, Stop, Typical

MOST_GAP_S: Final = 2700.0  # our assumption: longer between runs is no handling but nothing to do
MOST_CHANGE_S: Final = 5400.0
LEAST_PLAN_S: Final = 10.0


@dataclass(frozen=True, slots=True)
class Pause:
    """A stoppage of a table, wall seconds. A planned one (a break, a set change) is none."""

    start: float
    end: float
    planned: bool


@dataclass(frozen=True, slots=True)
class RunLog:
    """One run on one table, wall seconds. `arcs` are (on, off, contour) in order of time, `closed`
    is None while it goes on; `cut_plan_s` is the plan of its cutting, None without one, and
    `contour_s` the planned arc of each contour."""

    run: object
    cell: tuple[object, ...]
    nest: object
    wear_set: object
    opened: float
    closed: float | None
    arcs: tuple[tuple[float, float, int | None], ...]
    cut_plan_s: float | None
    contour_s: tuple[float, ...]

    def until(self, at: float) -> RunLog:
        """What was known of it at a moment."""
        arcs = tuple((on, min(off, at), contour) for on, off, contour in self.arcs if on < at)
        closed = self.closed if self.closed is not None and self.closed <= at else None
        return RunLog(
            self.run, self.cell, self.nest, self.wear_set, self.opened, closed, arcs,
            self.cut_plan_s, self.contour_s,
        )  # fmt: skip

    def rest_s(self, at: float) -> float | None:
        """What is left of the cutting plan at a moment, of the contour that burns then too."""
        if self.cut_plan_s is None:
            return None
        seen = [arc for arc in self.arcs if arc[2] is not None]
        whole = sum(self.contour_s)
        if not seen or not whole:
            return self.cut_plan_s if not self.arcs else self.cut_plan_s / 2
        on, off, last = max(seen, key=lambda arc: (arc[2] or 0, arc[0]))
        rest_s = self.cut_plan_s * max(1 - sum(self.contour_s[:last]) / whole, 0.0)
        if off >= at and last and last <= len(self.contour_s):
            rest_s += max(self.contour_s[last - 1] - (at - on), 0.0)  # without travel to it
        return rest_s


@dataclass(frozen=True)
class TableBook:
    """A table's runs in order of opening, its stoppages, and its staffed clock, in which `day_of`
    numbers the shifts: `shift_ends` are wall moments, and a moment belongs to the first shift that
    ends after it."""

    runs: Sequence[RunLog]
    pauses: Sequence[Pause]
    clock: StaffedClock
    first_day: int
    offset: int = 0  # tells the table-days of several tables apart

    def day(self, wall: float) -> int:
        ends = self.clock.ends[self.clock.ends_shift]
        return (self.first_day + bisect_left(ends, wall)) * DAY_STEP + self.offset

    def staffed_s(self, start: float, end: float) -> float:
        """Staffed seconds between two moments, unplanned stoppages taken out."""
        if end <= start:
            return 0.0
        whole = self.clock.staffed(end) - self.clock.staffed(start)
        lost = sum(
            self.clock.staffed(min(one.end, end)) - self.clock.staffed(max(one.start, start))
            for one in self.pauses
            if one.start < end and one.end > start and not one.planned
        )
        return max(whole - lost, 0.0)


DAY_STEP: Final = 64  # more tables than a shop has


def learned(
    book: TableBook, at: float
) -> tuple[list[Cut], list[Handling], list[Stop], list[float]]:
    """Cuts, handling, stoppages and idle borders that had ended at a moment."""
    cuts: list[Cut] = []
    steps: list[Handling] = []
    borders: list[float] = []
    over: list[Handling] = []
    runs = [run.until(at) for run in book.runs if run.opened <= at]
    for place, run in enumerate(runs):
        if place:
            _between(book, runs[place - 1], run, steps, over)
        if not run.arcs:
            continue
        first, last = run.arcs[0][0], max(off for _, off, _ in run.arcs)
        idle = _idle_inside(book, run)
        borders += idle
        if book.day(run.opened) == book.day(first):
            steps.append(Handling(Step.LOAD, book.day(first), book.staffed_s(run.opened, first)))
        if run.closed is None:
            continue
        if book.day(last) == book.day(run.closed):
            steps.append(Handling(Step.UNLOAD, book.day(last), book.staffed_s(last, run.closed)))
        took = book.staffed_s(first, last) - sum(idle)
        if run.cut_plan_s is not None and run.cut_plan_s > LEAST_PLAN_S and took > 0:
            day = book.day(last)
            cuts.append(Cut(day, week_of(last), run.cell, run.nest, run.cut_plan_s, took))
    borders += _without_handling(over, steps)
    opened = [run.opened for run in runs]
    stops = [
        Stop(book.day(one.end), length, _nest_at(book, opened, one.start))
        for one in book.pauses
        if one.end <= at and not one.planned
        and (length := book.clock.staffed(one.end) - book.clock.staffed(one.start)) > 0
    ]  # fmt: skip
    return cuts, [one for one in steps if one.seconds > 0], stops, borders


def _nest_at(book: TableBook, opened: Sequence[float], wall: float) -> object:
    """What was on the table."""
    place = bisect_right(opened, wall) - 1
    return book.runs[place].nest if place >= 0 else None


def going(book: TableBook, at: float) -> list[Exposed]:
    """The run on the table, as far as it has been cut."""
    run, under_way = now_at(book, at)
    if run is None or not run.arcs:
        return []
    cut_s = book.staffed_s(run.arcs[0][0], at) - sum(_idle_inside(book, run))
    return [Exposed(book.day(at), run.nest, max(cut_s, 0.0), int(under_way.stopped))]


def records_at(books: Sequence[TableBook], at: float, typical: Typical) -> Records:
    """What all tables had on record at a moment, in order of time."""
    cuts, handling, stops, borders, on = [], [], [], [], []
    for book in books:
        own = learned(book, at)
        on += going(book, at)
        cuts += own[0]
        handling += own[1]
        stops += own[2]
        borders += own[3]
    cuts.sort(key=lambda cut: cut.day // DAY_STEP)
    handling.sort(key=lambda one: one.day // DAY_STEP)
    stops.sort(key=lambda one: one.day // DAY_STEP)
    return Records(cuts, handling, stops, borders, on, typical)


def _between(
    book: TableBook, before: RunLog, run: RunLog, steps: list[Handling], over: list[Handling]
) -> None:
    """Adds what lay between two runs to `steps`, or to `over` where a shift ended in it."""
    if before.closed is None or before.closed > run.opened:
        return
    length = book.staffed_s(before.closed, run.opened)
    change = before.wear_set != run.wear_set
    found = Handling(Step.CHANGE if change else Step.GAP, book.day(run.opened), length)
    if book.day(before.closed) != book.day(run.opened):
        if length <= MOST_CHANGE_S and book.day(run.opened) - book.day(before.closed) == DAY_STEP:
            over.append(found)
    elif length <= (MOST_CHANGE_S if change else MOST_GAP_S):
        steps.append(found)


def _without_handling(over: Sequence[Handling], steps: Sequence[Handling]) -> list[float]:
    """Idle time at ends of shifts that fell between two runs: what is left beside an ordinary gap
    or change, which a forecast draws too."""
    usual = {
        step: median([one.seconds for one in steps if one.step is step] or [0.0])
        for step in {one.step for one in over}
    }
    return [max(one.seconds - usual[one.step], 0.0) for one in over]


def _idle_inside(book: TableBook, run: RunLog) -> list[float]:
    """Staffed time without an arc around each end of a shift that the run went across."""
    return [
        book.staffed_s(off, on)
        for (_, off, _), (on, _, _) in zip(run.arcs, run.arcs[1:], strict=False)
        if book.day(off) != book.day(on)
    ]


def now_at(book: TableBook, at: float) -> tuple[RunLog | None, UnderWay]:
    """The run whose cutting ends next (None: the first of the list), and what goes on."""
    runs = [run.until(at) for run in book.runs if run.opened <= at]
    if not runs:
        return None, UnderWay()
    run = runs[-1]
    if run.closed is not None:
        if book.day(run.closed) != book.day(at):
            return None, UnderWay()
        return None, UnderWay(step=Step.GAP, age_s=book.staffed_s(run.closed, at))
    if not run.arcs:
        return run, UnderWay(step=Step.LOAD, age_s=book.staffed_s(run.opened, at))
    rest = run.rest_s(at)
    if rest is None:
        return run, UnderWay(rest_s=0.0)
    halted = next(
        (one for one in book.pauses if one.start <= at < one.end and not one.planned), None
    )
    last = max(off for _, off, _ in run.arcs)
    if rest <= 0 and halted is None:
        return None, UnderWay(step=Step.UNLOAD, age_s=book.staffed_s(last, at))
    if halted is not None:
        age = book.clock.staffed(at) - book.clock.staffed(halted.start)
        return run, UnderWay(rest_s=rest, stopped=True, age_s=age)
    return run, UnderWay(rest_s=rest)
