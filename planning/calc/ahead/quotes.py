"""What a whole quote will take, drawn many times over: the sum over its lines and their sheets.

Sheets of a line share what their nest and cell differ by, lines of a cell share the cell, and
whatever is cut on one table-day shares the day. A quantile is taken of the sum, never summed.
"""

from __future__ import annotations

import math
from collections.abc import Hashable, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Final

import numpy as np
from numpy.typing import NDArray

from planning.calc.ahead.draws import Ahead, Now, Worlds
from planning.calc.ahead.fit import Fit
from planning.calc.ahead.records import Step
from planning.calc.ahead.scores import LEVELS

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

NO_DAY: Final = -1  # a day that no record is of: a quote's work begins on one
WEEKS_ON: Final = 2  # our assumption: so long after the quote its work begins
DAY_S: Final = 8 * 3600.0  # our assumption of a table's staffed day
MOST_SHEETS: Final = 120  # of a quote are drawn one by one, shared between its lines; more sheets
LEAST_SHEETS: Final = 12  # of a line are taken to spread like so many
WEEK: Final = 5  # staffed days
FEW_DAYS: Final = 10.0  # our assumption: so many days without a bond
LEAST_DAYS: Final = 5
MOST_KEPT: Final = 0.9
MOST_DAYS: Final = 400  # of one table's work are drawn, each by itself; later ones are as the last
DRAWS: Final = 2000


@dataclass(frozen=True, slots=True)
class LineAhead:
    """Sheets of one nest on one table. `plan_s` is the cutting of one sheet. What a second at the
    table costs and what the arc of one planned sheet costs grow with the time taken; `fixed_minor`
    of all sheets does not. Money is in minor units, unrounded."""

    table: Hashable
    cell: Hashable
    nest: Hashable
    plan_s: float
    sheets: int
    minor_per_s: float = 0.0
    arc_minor: float = 0.0
    fixed_minor: float = 0.0


@dataclass(frozen=True)
class QuoteDraws:
    """`seconds` (at the table, stoppages included) and `minor` of each line, (draws, lines).
    `beyond` is the share of draws in which a table was at it for more than `MOST_DAYS`."""

    seconds: Floats
    minor: Floats
    beyond: float = 0.0

    @property
    def whole(self) -> Floats:
        return np.asarray(self.minor.sum(axis=1))

    def exceeded_with(self, chance: float) -> float:
        """Minor units that the whole exceeds with that chance."""
        return float(np.quantile(self.whole, 1 - chance))

    def quantiles(self) -> list[float]:
        """Of the whole, at `LEVELS`."""
        return [float(one) for one in np.quantile(self.whole, LEVELS)]

    def means(self) -> list[float]:
        """Of each line: what the whole is shared out by."""
        return [float(one) for one in self.minor.mean(axis=0)]


def quote_draws(
    fits: Mapping[Hashable, Fit],
    lines: Sequence[LineAhead],
    *,
    week: int,
    seed: int,
    weeks_on: int = WEEKS_ON,
    draws: int = DRAWS,
) -> QuoteDraws:
    """Draw the lines one after the other, each table by its own fit and through days of its own.
    `week` numbers the week the quote is made in (`clock.week_of`), `weeks_on` of them pass until
    the work begins. Raises KeyError for a table without a fit."""
    tables: dict[Hashable, _Table] = {}
    most = max(MOST_SHEETS // max(len(lines), 1), LEAST_SHEETS)
    seconds, minor = [], []
    for line in lines:
        if line.table not in tables:
            now = Now(0.0, NO_DAY, week)
            worlds = QuoteWorlds.of(fits[line.table], now, seed + len(tables), draws)
            worlds.begin(weeks_on)
            tables[line.table] = _Table(worlds, np.zeros(draws))
        took, burnt = tables[line.table].cut(line, most)
        seconds.append(took)
        arcs = line.arc_minor * burnt / line.plan_s if line.plan_s else np.zeros(draws)
        minor.append(line.minor_per_s * took + arcs + line.fixed_minor)
    beyond = np.any([one.passed > MOST_DAYS * DAY_S for one in tables.values()], axis=0).mean()
    return QuoteDraws(np.stack(seconds, axis=1), np.stack(minor, axis=1), float(beyond))


class QuoteWorlds(Worlds):
    """Table-days that hang together as they did in what the fit has seen: work of many days meets
    a bad week as a whole. `days_on` of them lie between the last one seen and the first of the
    work."""

    days_on: int = 0

    def begin(self, weeks_on: int) -> None:
        """The work begins so many weeks from now."""
        self.days_on, self._levels = weeks_on * WEEK, [self.level(weeks_on)]

    def _one_day(self, days_on: int) -> Floats:
        fresh = super()._one_day(days_on)
        if self._days:
            kept, before = self.kept, self._days[-1]
        elif self.fit.day.shape[1]:
            kept, before = self.kept ** (1 + self.days_on), self.fit.day[self.which, -1]
        else:
            return fresh
        return np.asarray(kept * before + math.sqrt(1 - kept**2) * fresh)

    @cached_property
    def kept(self) -> float:
        """How much of a day's effect the next one keeps: the correlation of days that follow each
        other, drawn towards none by `FEW_DAYS`."""
        days = self.fit.day.shape[1]
        if days < LEAST_DAYS:
            return 0.0
        d = self.fit.day[:, :, 0] - self.fit.day[:, :, 0].mean(axis=1, keepdims=True)
        squares = float((d**2).sum())
        found = float((d[:, 1:] * d[:, :-1]).sum()) / squares * days / (days + FEW_DAYS)
        return float(min(max(found, 0.0), MOST_KEPT))


@dataclass
class _Table:
    """A table that does nothing but this quote, from a day's start on; `passed` seconds of it."""

    worlds: QuoteWorlds
    passed: Floats

    def cut(self, line: LineAhead, most: int) -> tuple[Floats, Floats]:
        """Seconds at the table and seconds of cutting of all sheets, `most` of them drawn."""
        worlds, run = self.worlds, Ahead(line.plan_s, line.cell, line.nest)
        took, burnt = np.zeros(worlds.draws), np.zeros(worlds.draws)
        drawn = min(line.sheets, most)
        for _ in range(drawn):
            day = np.minimum(self.passed // DAY_S, MOST_DAYS - 1).astype(np.int64)
            burning = worlds.burning(run, line.plan_s, day, worlds.walked(day // WEEK))
            sheet = burning + worlds.stopped(run, burning, day)
            sheet = sheet + worlds.step(Step.LOAD, day) + worlds.step(Step.UNLOAD, day)
            took, burnt, self.passed = took + sheet, burnt + burning, self.passed + sheet
        more = line.sheets / drawn if drawn else 0.0
        return took * more, burnt * more
