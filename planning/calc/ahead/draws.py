"""When the runs of a list will be done, drawn many times over."""

from __future__ import annotations

from collections.abc import Hashable, Mapping, Sequence
from dataclasses import dataclass, field
from enum import StrEnum
from typing import Final, Self

import numpy as np
from numpy.typing import NDArray

from planning.calc.ahead.clock import StaffedClock, week_of
from planning.calc.ahead.fit import Fit
from planning.calc.ahead.records import Step

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

DRAWS: Final = 2000
LAST_S: Final = 10.0  # standard deviation of where within its contours a cut really is


@dataclass(frozen=True, slots=True)
class Ahead:
    """A run to come: the seconds its cutting is planned to take, and whether the torch must get
    another set before it."""

    plan_s: float
    cell: Hashable
    nest: Hashable
    change: bool = False


@dataclass(frozen=True, slots=True)
class UnderWay:
    """What the table does now. Cutting: `rest_s` of the plan of the first run is left. A stoppage:
    the same, and it has lasted `age_s`. A step: it has lasted `age_s`, and the first run's cutting
    has not begun."""

    rest_s: float | None = None
    step: Step | None = None
    stopped: bool = False
    age_s: float = 0.0


@dataclass(frozen=True, slots=True)
class Now:
    """The moment a forecast is made from: wall seconds, the number of its table-day and week, and
    what is under way."""

    at: float
    day: int
    week: int
    under_way: UnderWay = field(default_factory=UnderWay)


@dataclass
class Worlds:
    """As many possible shops as `which` has entries: each is one state of the fit, with its own
    effects of cells, nests and days that the fit has not seen."""

    fit: Fit
    which: Ints
    chance: np.random.Generator
    now: Now
    _cells: dict[Hashable, Floats] = field(default_factory=dict)
    _nests: dict[Hashable, Floats] = field(default_factory=dict)
    _days: list[Floats] = field(default_factory=list)
    _stop_days: list[Floats] = field(default_factory=list)
    _stop_nests: dict[Hashable, Floats] = field(default_factory=dict)
    _levels: list[Floats] = field(default_factory=list)

    @classmethod
    def of(cls, fit: Fit, now: Now, seed: int, draws: int = DRAWS) -> Self:
        chance = np.random.default_rng(seed)
        return cls(fit, chance.permutation(draws) % fit.draws, chance, now)

    @property
    def draws(self) -> int:
        return len(self.which)

    def level(self, weeks_on: int) -> Floats:
        fit, which = self.fit, self.which
        # Without a run there is no week to walk on from.
        ahead = max(self.now.week + weeks_on - fit.week, 0) if fit.cuts else 0
        walked = fit.drift[which] * np.sqrt(ahead) * self.chance.standard_normal(self.draws)
        return np.asarray(fit.level[which] + fit.slope[which] * ahead + walked)

    def walked(self, weeks: Ints) -> Floats:
        """The level of each world so many weeks from now, walking on from week to week."""
        fit = self.fit
        if not self._levels:
            self._levels.append(self.level(0))
        while len(self._levels) <= int(weeks.max(initial=0)):
            step = fit.drift[self.which] * self.chance.standard_normal(self.draws)
            self._levels.append(self._levels[-1] + fit.slope[self.which] + step)
        return of_each(self._levels, weeks)

    def cell(self, cell: Hashable) -> Floats:
        if cell not in self._cells:
            self._cells[cell] = self._effect(self.fit.cells, self.fit.cell, self.fit.cell_sd, cell)
        return self._cells[cell]

    def nest(self, nest: Hashable) -> Floats:
        if nest not in self._nests:
            self._nests[nest] = self._effect(self.fit.nests, self.fit.nest, self.fit.nest_sd, nest)
        return self._nests[nest]

    def _effect(
        self, known: Mapping[Hashable, int], effects: Floats, sd: Floats, name: Hashable
    ) -> Floats:
        place = known.get(name)
        if place is None:
            return np.asarray(sd[self.which] * self.chance.standard_normal(self.draws))
        return np.asarray(effects[self.which, place])

    def day(self, number: Ints) -> Floats:
        """(draws, 2): d and h of each world's `number`-th table-day from today on."""
        while len(self._days) <= int(number.max(initial=0)):
            self._days.append(self._one_day(len(self._days)))
        return of_each(self._days, number)

    def _one_day(self, days_on: int) -> Floats:
        place = self.fit.days.get(self.now.day) if days_on == 0 else None
        if place is not None:
            return np.asarray(self.fit.day[self.which, place])
        root = np.linalg.cholesky(self.fit.day_cov)[self.which]
        both = self.chance.standard_normal((self.draws, 2, 1))
        return np.asarray((root @ both)[:, :, 0])

    def stop_factor(self, number: Ints) -> Floats:
        while len(self._stop_days) <= int(number.max(initial=0)):
            day = None if self._stop_days else self.now.day
            self._stop_days.append(self.fit.stops.day_factor(self.chance, self.which, day))
        return of_each(self._stop_days, number)

    def nest_stops(self, nest: Hashable) -> Floats:
        if nest not in self._stop_nests:
            found = self.fit.stops.nest_factor(self.chance, self.which, nest)
            self._stop_nests[nest] = found
        return self._stop_nests[nest]

    def error(self, plan_s: float, rest_s: float) -> Floats:
        """The run's own, from the shop's errors as they were: these are skewed, which no
        symmetric distribution follows. Of a run's rest it is relatively greater: parts of a run
        err by themselves."""
        fit, which = self.fit, self.which
        relative = max(plan_s, 1.0) / fit.mean_plan_s
        spread = fit.sigma[which] * np.exp(-fit.power[which] / 2 * np.log(relative))
        z = self.chance.standard_t(fit.freedom[which])
        if len(fit.errors):
            seen = self.chance.random(self.draws) * (fit.cuts + ASSUMED_WORTH) < fit.cuts
            z = np.where(seen, self.chance.choice(fit.errors, self.draws), z)
        spread = spread * np.sqrt(max(plan_s, 1.0) / min(max(rest_s, 1.0), max(plan_s, 1.0)))
        return np.asarray(np.minimum(spread, MOST_SPREAD) * z)

    def cutting(self, run: Ahead, rest_s: float, number: Ints, level: Floats) -> Floats:
        """Seconds of cutting that planned `rest_s` takes, stoppages included."""
        cut, stopped = self.cut_and_stopped(run, rest_s, number, level)
        return cut + stopped

    def cut_and_stopped(
        self, run: Ahead, rest_s: float, number: Ints, level: Floats
    ) -> tuple[Floats, Floats]:
        took = self.burning(run, rest_s, number, level)
        return took, self.stopped(run, took, number)

    def burning(self, run: Ahead, rest_s: float, number: Ints, level: Floats) -> Floats:
        """The same without stoppages."""
        y = level + self.cell(run.cell) + self.nest(run.nest) + self.day(number)[:, 0]
        return np.asarray(
            rest_s * np.exp(np.clip(y + self.error(run.plan_s, rest_s), -MOST_LOG, MOST_LOG))
        )

    def stopped(self, run: Ahead, cut_s: Floats, number: Ints) -> Floats:
        rate = self.fit.stops.rate[self.which] * self.stop_factor(number)
        rate = rate * self.nest_stops(run.nest)
        counts = self.chance.poisson(np.minimum(rate * cut_s, MOST_STOPS))
        most = int(counts.max(initial=0))
        if not most:
            return np.zeros(self.draws)
        lengths = self.fit.stop.draw(self.chance, (self.draws, most))
        return np.asarray((lengths * (np.arange(most) < counts[:, None])).sum(axis=1))

    def step(self, step: Step, number: Ints) -> Floats:
        length = self.fit.urns[step].draw(self.chance, (self.draws, 1))[:, 0]
        return np.asarray(length * np.exp(self.day(number)[:, 1]))

    def rest_of_step(self, step: Step, age_s: float) -> Floats:
        scale = np.exp(self.day(np.zeros(self.draws, dtype=np.int64))[:, 1])
        return self.fit.urns[step].draw_rest(self.chance, self.draws, age_s, scale)

    def rest_of_stop(self, age_s: float) -> Floats:
        return self.fit.stop.draw_rest(self.chance, self.draws, age_s, np.ones(self.draws))


def of_each(rows: Sequence[Floats], number: Ints) -> Floats:
    """What the row of each draw's number has for that draw. Only the rows asked for are gathered:
    of work that lasts hundreds of days all draws are within a few of each other."""
    first, last = int(number.min(initial=len(rows) - 1)), int(number.max(initial=0))
    own = np.stack(rows[first : last + 1])
    return np.asarray(own[number - first, np.arange(len(number))])


ASSUMED_WORTH: Final = 20.0  # runs that a symmetric error is worth beside the shop's own
MOST_SPREAD: Final = 0.6
MOST_LOG: Final = 2.5
MOST_STOPS: Final = 50.0


class Spent(StrEnum):
    """What the time until a run is done goes to, breaks apart."""

    CUT = "cut"
    STOP = "stop"
    LOAD = "load"
    UNLOAD = "unload"
    GAP = "gap"
    CHANGE = "change"
    BORDER = "border"


@dataclass(frozen=True)
class Finishes:
    """`staffed` seconds from now and `wall` time (both draws x runs) at which each run's last arc
    goes out, in the order of the list. `spent`: of each run, the mean seconds until then by what
    they go to, which sum to the mean of `staffed`."""

    staffed: Floats
    wall: Floats
    spent: tuple[Mapping[Spent, float], ...] = ()

    def chance_by(self, wall: float) -> Floats:
        """Of each run, the chance that it is done by then."""
        return np.asarray((self.wall <= wall).mean(axis=0))


def finishes(worlds: Worlds, runs: Sequence[Ahead], clock: StaffedClock) -> Finishes:
    """Draw the whole list through the clock, from now on. The first run is the one under way, if
    any is cutting."""
    clock = clock.from_now(worlds.now.at)
    borders = clock.borders
    idle = worlds.fit.border.draw(worlds.chance, (worlds.draws, max(len(borders), 1)))
    weeks = weeks_of(clock, worlds.now)
    passed = _Passed(np.zeros(worlds.draws), np.zeros(worlds.draws))
    found, spent = [], []
    for place, run in enumerate(runs):
        number = np.searchsorted(borders, passed.all, side="right").astype(np.int64)
        level = worlds.walked(weeks[number])
        if place:
            for step in between(run):
                passed.add(Spent(step), worlds.step(step, number))
            passed.add_cut(*worlds.cut_and_stopped(run, run.plan_s, number, level))
        else:
            _first(worlds, run, number, level, passed)
        passed.lost = _lost(passed.work, borders, idle)
        found.append(passed.all)
        spent.append({**passed.means, Spent.BORDER: float(passed.lost.mean())})
    staffed = np.stack(found, axis=1) if found else np.zeros((worlds.draws, 0))
    return Finishes(staffed, clock.wall(staffed), tuple(spent))


def weeks_of(clock: StaffedClock, now: Now) -> Ints:
    """Of each shift from now on, how many weeks ahead it ends; once more for what lies beyond."""
    weeks = [max(week_of(end) - now.week, 0) for end in clock.ends[clock.ends_shift]]
    return np.array([*weeks, weeks[-1] if weeks else 0], dtype=np.int64)


def between(run: Ahead) -> tuple[Step, Step, Step]:
    """What lies between the cut before and this one."""
    return Step.UNLOAD, Step.CHANGE if run.change else Step.GAP, Step.LOAD


@dataclass
class _Passed:
    """Staffed seconds from now, a draw each: at work, and lost at ends of shifts. `means` is what
    the work was."""

    work: Floats
    lost: Floats
    means: dict[Spent, float] = field(default_factory=dict)

    @property
    def all(self) -> Floats:
        return self.work + self.lost

    def add(self, kind: Spent, seconds: Floats) -> None:
        self.work = self.work + seconds
        self.means[kind] = self.means.get(kind, 0.0) + float(seconds.mean())

    def add_cut(self, cut: Floats, stopped: Floats) -> None:
        self.add(Spent.CUT, cut)
        self.add(Spent.STOP, stopped)


def _lost(passed: Floats, borders: Floats, idle: Floats) -> Floats:
    """Seconds lost at each border crossed so far; work that ends within the idle time before a
    border is not pushed over it."""
    lost = np.zeros(len(passed))
    for place, border in enumerate(borders):
        over = passed + lost > border
        if not over.any():
            break
        lost = lost + np.where(over, idle[:, place], 0.0)
    return lost


def _first(worlds: Worlds, run: Ahead, number: Ints, level: Floats, passed: _Passed) -> None:
    """What is under way, to the end of the first run's cutting."""
    under = worlds.now.under_way
    if under.rest_s is not None:
        cut, stopped = worlds.cut_and_stopped(run, under.rest_s, number, level)
        cut = np.maximum(cut + LAST_S * worlds.chance.standard_normal(worlds.draws), 0.0)
        if under.stopped:
            stopped = stopped + worlds.rest_of_stop(under.age_s)
        passed.add_cut(cut, stopped)
        return
    order = between(run)
    at = order.index(under.step) if under.step in order else 1  # nothing to unload
    for place, step in enumerate(order):
        if place == at and under.step is not None:
            passed.add(Spent(step), worlds.rest_of_step(step, under.age_s))
        elif place >= at:
            passed.add(Spent(step), worlds.step(step, number))
    passed.add_cut(*worlds.cut_and_stopped(run, run.plan_s, number, level))
