"""Simulated shops whose truth is not the model's: what a table did, second by second."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from itertools import pairwise
from typing import Final

import numpy as np
from numpy.typing import NDArray

from planning.calc.ahead.book import Pause, RunLog, TableBook
from planning.calc.ahead.clock import StaffedClock
from planning.calc.ahead.records import Step

Floats = NDArray[np.float64]

DAY_S = 86_400.0
SHIFT = ((6.0, 10.0), (10.5, 14.5))  # hours; a break between
START, END = 6.0, 14.5


@dataclass(frozen=True, slots=True)
class World:
    """A kind of shop. Spreads are of logarithms; `drift` is the level's change a month;
    `remembered` is how much of a day's effect the next day keeps."""

    name: str
    plan_s: float = 3000.0
    plan_sd: float = 0.5
    nests: int = 60
    repeats: float = 0.7  # how often a run repeats the nest before it
    level: float = 0.04
    drift: float = 0.0
    cell_sd: float = 0.06
    nest_sd: float = 0.04
    day_sd: float = 0.03
    remembered: float = 0.0
    error_sd: float = 0.05
    tails: float = 8.0  # degrees of freedom of a run's error
    load_s: float = 340.0
    unload_s: float = 290.0
    gap_s: float = 80.0
    change_s: float = 760.0
    changes: float = 0.15
    stops_per_h: float = 0.2
    stop_s: float = 600.0
    stop_sd: float = 0.9
    breakdown_per_h: float = 0.0  # Pareto, 40 min at least
    idle_s: float = 700.0
    days: int = 70
    known_days: int = 40  # before the first statement


PLAIN = World("plain")
WORLDS = (
    PLAIN,
    replace(PLAIN, name="drift 5 % a month", drift=0.05),
    replace(PLAIN, name="correlated days 12 %", day_sd=0.12, remembered=0.7),
    replace(PLAIN, name="breakdowns, heavy tails", breakdown_per_h=0.03, tails=2.5),
    replace(PLAIN, name="strong nests", nest_sd=0.2),
    replace(PLAIN, name="1-2 shifts of data", days=7, known_days=1),
    replace(PLAIN, name="short runs", plan_s=480.0),
    replace(PLAIN, name="long one-offs", plan_s=9000.0, repeats=0.0, nests=100_000),
)


@dataclass(frozen=True, slots=True)
class Spell:
    """Wall seconds from `start` to `end` in which the table did one thing for one run: a handling
    step, cutting (`step` None) or a stoppage (`stop`)."""

    start: float
    end: float
    step: Step | None = None
    stop: bool = False


@dataclass
class TrueRun:
    nest: int
    cell: int
    plan_s: float
    change: bool
    spells: list[Spell] = field(default_factory=list)


@dataclass
class Truth:
    """What nobody in the shop knows: the logarithms that its cells, nests and table-days (cutting,
    hands) really differ by, and the plan of each nest."""

    cells: Floats
    days: Floats
    hands: Floats
    nests: dict[int, float] = field(default_factory=dict)
    plans: dict[int, float] = field(default_factory=dict)

    def nest(self, world: World, nest: int, chance: np.random.Generator) -> tuple[float, float]:
        """The effect and the plan of a nest, made when it is first asked for."""
        if nest not in self.nests:
            self.nests[nest] = world.nest_sd * float(chance.standard_normal())
            spread = float(np.exp(world.plan_sd * chance.standard_normal()))
            self.plans[nest] = world.plan_s * spread
        return self.nests[nest], self.plans[nest]

    def hand(self, day: int) -> float:
        return float(np.exp(self.hands[day] + 0.5 * self.days[day]))

    def cut_s(self, world: World, nest: int, day: int, chance: np.random.Generator) -> float:
        """Seconds of cutting one sheet, without stoppages."""
        effect, plan_s = self.nest(world, nest, chance)
        y = world.level + world.drift * day / 21 + self.cells[nest % 12] + effect + self.days[day]
        y += world.error_sd * float(chance.standard_t(world.tails)) * (3000 / plan_s) ** 0.4
        return plan_s * float(np.exp(np.clip(y, -1, 2)))


@dataclass
class TrueShop:
    world: World
    clock: StaffedClock
    runs: list[TrueRun]
    borders: list[tuple[float, float]]  # wall moment of the border, idle seconds
    truth: Truth


CONTOURS: Final = 20  # of each run, alike
AFTER: Final = 90  # days beyond the last run that a job may be cut on


def book_of(shop: TrueShop) -> TableBook:
    """What the books of such a shop would say: runs opened when loading begins and closed when
    unloading ends, with their arcs and stoppages."""
    logs, pauses, wear_set = [], [], 0
    for place, run in enumerate(shop.runs):
        wear_set = 1 - wear_set if run.change else wear_set
        unloaded = [one.end for one in run.spells if one.step is Step.UNLOAD]
        logs.append(
            RunLog(
                run=place, cell=(run.cell,), nest=run.nest, wear_set=wear_set,
                opened=next(one.start for one in run.spells if one.step is Step.LOAD),
                closed=unloaded[-1] if unloaded else None, arcs=tuple(_arcs(shop, run)),
                cut_plan_s=run.plan_s, contour_s=(run.plan_s / CONTOURS,) * CONTOURS,
            )
        )  # fmt: skip
        pauses += [Pause(one.start, one.end, planned=False) for one in run.spells if one.stop]
    return TableBook(logs, pauses, shop.clock, 0)


def _arcs(shop: TrueShop, run: TrueRun) -> Iterator[tuple[float, float, int]]:
    burning = [one for one in run.spells if one.step is None and not one.stop]
    whole = sum(shop.clock.staffed(one.end) - shop.clock.staffed(one.start) for one in burning)
    done = 0.0
    for one in burning:
        begun = shop.clock.staffed(one.start)
        length = shop.clock.staffed(one.end) - begun
        edges = [
            done,
            *(each for each in np.linspace(0, whole, CONTOURS + 1) if done < each < done + length),
            done + length,
        ]
        for start, end in pairwise(edges):
            wall = shop.clock.wall(np.array([begun + start - done + 1e-6, begun + end - done]))
            contour = min(int((start + end) / 2 / whole * CONTOURS) + 1, CONTOURS)
            yield float(wall[0]), float(wall[1]), contour
        done += length


def clock_of(days: int) -> StaffedClock:
    """Monday to Friday, one shift a day."""
    spans, ends = [], []
    for day in range(days):
        start = (day // 5 * 7 + day % 5) * DAY_S
        for place, (first, last) in enumerate(SHIFT):
            spans.append((start + first * 3600, start + last * 3600))
            ends.append(place == len(SHIFT) - 1)
    return StaffedClock.of(spans, ends)


def simulate(world: World, seed: int) -> TrueShop:
    """One shop of that kind, from its first day to its last."""
    chance = np.random.default_rng(seed)
    clock = clock_of(world.days)
    cells = world.cell_sd * chance.standard_normal(12)
    truth = Truth(cells, _day_effects(world, chance), _day_effects(world, chance))
    shop = TrueShop(world, clock, [], [], truth)
    time = _Time(shop, chance)
    nest = 0
    while time.going:
        if not shop.runs or chance.random() > world.repeats:
            nest = int(chance.integers(world.nests))
        plan_s = truth.nest(world, nest, chance)[1]
        run = TrueRun(nest, nest % 12, plan_s, bool(chance.random() < world.changes))
        hand = truth.hand(time.day)
        if shop.runs:
            previous = shop.runs[-1]
            previous.spells += time.spend(
                drawn_length(chance, world.unload_s, 0.45) * hand, Step.UNLOAD
            )
        between = (
            (Step.CHANGE, world.change_s, 0.35) if run.change else (Step.GAP, world.gap_s, 0.7)
        )
        run.spells += time.spend(drawn_length(chance, between[1], between[2]) * hand, between[0])
        run.spells += time.spend(drawn_length(chance, world.load_s, 0.4) * hand, Step.LOAD)
        run.spells += _cut(time, world, chance, truth.cut_s(world, nest, time.day, chance))
        if time.going:
            shop.runs.append(run)
    return shop


def drawn_length(chance: np.random.Generator, median: float, sd: float) -> float:
    return median * float(np.exp(sd * chance.standard_normal()))


def _day_effects(world: World, chance: np.random.Generator) -> Floats:
    found = np.zeros(world.days + AFTER)
    value = 0.0
    for day in range(len(found)):
        fresh = world.day_sd * np.sqrt(1 - world.remembered**2) * chance.standard_normal()
        value = world.remembered * value + float(fresh)
        found[day] = value
    return found


def _cut(time: _Time, world: World, chance: np.random.Generator, cut_s: float) -> list[Spell]:
    spells: list[Spell] = []
    rate = (world.stops_per_h + world.breakdown_per_h) / 3600
    while cut_s > 0 and time.going:
        until = float(chance.exponential(1 / rate))
        spells += time.spend(min(until, cut_s), None)
        cut_s -= until
        if cut_s > 0:
            long = chance.random() * (world.stops_per_h + world.breakdown_per_h) > world.stops_per_h
            length = (
                2400 * float(1 + chance.pareto(1.6)) if long
                else drawn_length(chance, world.stop_s, world.stop_sd)
            )  # fmt: skip
            spells += time.spend(length, None, stop=True)
    return spells


@dataclass
class _Time:
    """Where the table is, in staffed seconds; idle time is spent at the borders of shifts."""

    shop: TrueShop
    chance: np.random.Generator
    staffed: float = 0.0
    day: int = 0

    def __post_init__(self) -> None:
        self._borders = self.shop.clock.borders
        self.staffed = self._idle() / 2

    @property
    def going(self) -> bool:
        return self.day < len(self._borders)

    def _idle(self) -> float:
        return drawn_length(self.chance, self.shop.world.idle_s, 0.5)

    def spend(self, seconds: float, step: Step | None, stop: bool = False) -> list[Spell]:
        """The table does one thing for so many staffed seconds; a shift's end within it costs its
        idle time."""
        spells: list[Spell] = []
        while self.going and seconds > 0:
            border = float(self._borders[self.day])
            idle = self._idle() if self.staffed + seconds > border else 0.0
            last = border - idle / 2
            if self.staffed + seconds <= border:
                spells += self._walk(self.staffed + seconds, step, stop)
                seconds = 0
            else:
                if last > self.staffed:
                    seconds -= last - self.staffed
                    spells += self._walk(last, step, stop)
                self.shop.borders.append((float(self.shop.clock.wall(np.array(border))), idle))
                self.staffed = border + idle / 2
                self.day += 1
        return spells

    def _walk(self, until: float, step: Step | None, stop: bool) -> Iterator[Spell]:
        wall = self.shop.clock.wall(np.array([self.staffed + 1e-6, until]))
        self.staffed = until
        return iter([Spell(float(wall[0]), float(wall[1]), step, stop)])
