"""What a table's work is allowed to take: the plan as its own runs take it, with loading, changes
and stops as they usually are. The pace is held against it."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Final

import numpy as np

from planning.calc.ahead.clock import StaffedClock
from planning.calc.ahead.draws import Spent
from planning.calc.ahead.records import Step
from planning.calc.spans import Span, subtract
from planning.inputs.stored_time import StoredTime
from planning.reports.today_data import RunToday

S: Final = 1_000_000
START: Final = 0.5  # of the time idle around a shift's end: the part that lies in the next one
BEHIND: Final = 1.28  # standard deviations: nine ordinary days of ten are less behind
CUT_SHARE: Final = 0.75  # of staffed time that is cutting, and
HANDLING_S: Final = 12.0  # variance of handling a second, s2: as in the example shop
Times = dict[Spent, int]


@dataclass(frozen=True)
class Standard:
    """Microseconds allowed. Without a fit the plan alone, with its loading."""

    stored: StoredTime | None
    _usual: dict[tuple[object, int], tuple[float, float]] = field(
        default_factory=dict, compare=False, repr=False
    )

    def before(self, run: RunToday, previous: RunToday | None, *, starts: bool) -> Times:
        """Before a run's first contour. `starts`: nothing was done in this shift before."""
        if self.stored is None:
            return {Spent.LOAD: run.load_us}
        found = self.start() if starts else {}
        found[Spent.LOAD] = self._mean(Step.LOAD)
        if previous is not None:
            change = previous.wear_set != run.wear_set
            found[Spent.UNLOAD] = self._mean(Step.UNLOAD)
            found[Spent.CHANGE if change else Spent.GAP] = self._mean(
                Step.CHANGE if change else Step.GAP
            )
        return found

    def start(self) -> Times:
        if self.stored is None:
            return {}
        return {Spent.BORDER: round(self.stored.fit.border.mean_s * START * S)}

    def cut(self, run: RunToday, plan_us: int) -> Times:
        """For so much of a run's plan."""
        if self.stored is None:
            return {Spent.CUT: plan_us}
        ratio, stopped = self._ratios(self.stored, run.cell, run.nest_id)
        cut_us = plan_us * ratio
        return {Spent.CUT: round(cut_us), Spent.STOP: round(cut_us * stopped)}

    def _ratios(self, stored: StoredTime, cell: object, nest: int) -> tuple[float, float]:
        """What cutting takes of its plan, and stops of cutting: worked out once, for a shift has
        hundreds of arcs of few nests."""
        if (cell, nest) in self._usual:
            return self._usual[cell, nest]
        fit = stored.fit
        y = fit.level + sum(
            effects[:, known[name]] if name in known else 0.0
            for known, effects, name in (
                (fit.cells, fit.cell, cell),
                (fit.nests, fit.nest, nest),
            )
        )
        stopped = fit.stops.usual * fit.stop.mean_s
        self._usual[cell, nest] = float(np.exp(y).mean()), stopped
        return self._usual[cell, nest]

    def _mean(self, step: Step) -> int:
        return round((self.stored.fit.urns[step].mean_s if self.stored else 0.0) * S)

    def usual_min(self, passed_us: int) -> float | None:
        """Behind by less than this is as usual; None: not known. A compound Poisson number of
        stops whose rate differs by day (Klugman, Panjer, Willmot, from memory), and handling."""
        if self.stored is None:
            return None
        fit, passed_s = self.stored.fit, max(passed_us, 0) / S
        stops = fit.stops.usual * passed_s * CUT_SHARE
        days = float((1 / fit.stops.clump).mean())
        variance = stops * fit.stop.square_s2 + (stops * fit.stop.mean_s) ** 2 * days
        return BEHIND * float(np.sqrt(variance + HANDLING_S * passed_s)) / 60


def unstaffed(clock: StaffedClock, start_us: int, end_us: int) -> list[Span]:
    """The breaks and closed time of a window."""
    worked = [
        (round(start * S), round(end * S))
        for start, end in zip(clock.starts, clock.ends, strict=True)
    ]
    return list(subtract([(start_us, end_us)], worked))
