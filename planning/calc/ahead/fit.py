"""The model's posterior, by Gibbs sampling.

y = ln(actual / plan) of a run's cutting = level of its week (a random walk with a slope) + what
its cell, its nest and its table-day differ by + an error (Student's t) whose variance falls with
the length of the run. A handling step is an urn's draw times exp(h), h shared by a table-day and
correlated with the day's d in cutting. Stoppages come at a Poisson rate that differs by day.

Sources, from memory: Gelman et al., Bayesian Data Analysis; Gelman 2006 (half-t spreads); Lange,
Little and Taylor 1989 (t errors); West and Harrison 1997 (a moving level).
"""

from __future__ import annotations

from collections.abc import Hashable, Mapping, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from planning.calc.ahead.handling import HandlingFit, draw_days, handling_of
from planning.calc.ahead.normal import Effects, Layout, draw_effects
from planning.calc.ahead.records import Cut, Records, Step
from planning.calc.ahead.spreads import draw_errors, draw_spread
from planning.calc.ahead.stops import StopRate, exposed, fit_stops
from planning.calc.ahead.urn import Guess, Urn

Floats = NDArray[np.float64]

SWEEPS: Final = 400
KEPT: Final = 200
LATEST: Final = 500  # cuts that are fitted
CELL, NEST, WEEK = 0.08, 0.06, 0.012  # scales of the spreads' priors: our assumptions
SLOPE_SD: Final = 0.02  # of the level, a week


@dataclass(frozen=True)
class Fit:
    """What the shop's records say, as `KEPT` equally likely states of the world: arrays have one
    row each of these. Effects are logarithms. Times are seconds."""

    level: Floats  # of `week`
    slope: Floats
    drift: Floats
    cell_sd: Floats
    nest_sd: Floats
    cell: Floats  # (draws, cells)
    nest: Floats  # (draws, nests)
    cells: Mapping[Hashable, int]
    nests: Mapping[Hashable, int]
    sigma: Floats
    power: Floats
    freedom: Floats
    mean_plan_s: float
    errors: Floats  # the shop's own, over their expected spread
    day: Floats  # (draws, days, 2): d and h
    days: Mapping[int, int]
    day_cov: Floats  # (draws, 2, 2)
    week: int
    urns: Mapping[Step, Urn]
    border: Urn
    stop: Urn
    stops: StopRate
    cuts: int

    @property
    def draws(self) -> int:
        return len(self.level)


def fit(records: Records, seed: int, *, sweeps: int = SWEEPS, kept: int = KEPT) -> Fit:
    """Fit the model. With no records at all it says what is assumed."""
    chance = np.random.default_rng(seed)
    cuts = list(records.cuts)[-LATEST:]
    at, names = _layout(cuts, records)
    steps = handling_of(records, names.days)
    y = np.log([cut.took_s / cut.plan_s for cut in cuts]) if cuts else np.zeros(0)
    plans = np.array([cut.plan_s for cut in cuts], dtype=float)
    mean_plan = float(plans.mean()) if cuts else 3600.0
    states, errors = _sweep(chance, y, plans / mean_plan, at, steps, sweeps, kept)
    typical = records.typical
    columns = {name: np.array([state[name] for state in states]) for name in states[0]}
    mean_h = columns["day"][:, :, 1].mean(axis=0)
    return Fit(
        **columns,
        cells=names.cells,
        nests=names.nests,
        mean_plan_s=mean_plan,
        errors=errors,
        days=names.days,
        week=names.week,
        urns=steps.urns(mean_h, typical),
        border=Urn.of(records.border_s, Guess(typical.border_s, 0.7, 3)),
        stop=Urn.of([one.seconds for one in records.stops], Guess(typical.stop_s, 0.9, 5)),
        stops=fit_stops(chance, exposed(records), typical.stops_per_h, kept),
        cuts=len(cuts),
    )


@dataclass(frozen=True)
class _Names:
    cells: dict[Hashable, int]
    nests: dict[Hashable, int]
    days: dict[int, int]
    week: int


def _places(values: Sequence[Hashable]) -> tuple[dict[Hashable, int], NDArray[np.int64]]:
    found: dict[Hashable, int] = {}
    return found, np.array([found.setdefault(one, len(found)) for one in values], dtype=np.int64)


def _layout(cuts: Sequence[Cut], records: Records) -> tuple[Layout, _Names]:
    cells, cell = _places([cut.cell for cut in cuts])
    nests, nest = _places([cut.nest for cut in cuts])
    oldest = cuts[0].day if cuts else None
    days: dict[int, int] = {}
    day = np.array([days.setdefault(cut.day, len(days)) for cut in cuts], dtype=np.int64)
    for step in records.handling:
        if oldest is None or step.day >= oldest:
            days.setdefault(step.day, len(days))
    weeks = sorted({cut.week for cut in cuts})
    week = np.searchsorted(weeks, [cut.week for cut in cuts]).astype(np.int64)
    layout = Layout(
        week=week, cell=cell, nest=nest, day=day,
        gaps=np.diff(np.array(weeks, dtype=float)),
        weeks=max(len(weeks), 1), cells=len(cells), nests=len(nests), days=len(days),
    )  # fmt: skip
    return layout, _Names(cells, nests, days, weeks[-1] if weeks else 0)


def _sweep(
    chance: np.random.Generator,
    y: Floats,
    relative: Floats,
    at: Layout,
    steps: HandlingFit,
    sweeps: int,
    kept: int,
) -> tuple[list[dict[str, object]], Floats]:
    sigma, power, freedom = 0.06, 1.0, 5.0
    cell_sd, nest_sd, drift, slope = CELL, NEST, WEEK, 0.0
    cov = np.diag([0.03**2, 0.03**2])
    h = np.zeros(at.days)
    mixing = np.ones(len(y))
    log_length = np.log(relative)
    states: list[dict[str, object]] = []
    pooled: list[Floats] = []
    thin = max((sweeps - sweeps // 2) // kept, 1)
    first = sweeps - thin * kept
    for number in range(max(sweeps, kept)):
        day_mean = cov[0, 1] / cov[1, 1] * h
        day_sd = float(np.sqrt(cov[0, 0] - cov[0, 1] ** 2 / cov[1, 1]))
        weight = mixing * np.exp(power * log_length) / sigma**2
        effects = draw_effects(
            chance, y, weight, at, slope=slope, drift=drift, cell_sd=cell_sd, nest_sd=nest_sd,
            day_mean=day_mean, day_sd=day_sd,
        )  # fmt: skip
        error = y - effects.of(at)
        sigma, power, freedom = draw_errors(chance, error, relative, power, freedom)
        z = error / sigma * np.exp(power / 2 * log_length)
        mixing = chance.gamma((freedom + 1) / 2, size=len(y)) / ((freedom + z**2) / 2)
        cell_sd = draw_spread(chance, float((effects.cell**2).sum()), at.cells, CELL)
        nest_sd = draw_spread(chance, float((effects.nest**2).sum()), at.nests, NEST)
        drift, slope = _draw_walk(chance, effects, at, drift)
        h, cov = draw_days(chance, effects.day, steps, cov)
        if number >= first and (number - first) % thin == 0:
            states.append(
                {"level": effects.level[-1], "slope": slope, "drift": drift, "cell_sd": cell_sd,
                 "nest_sd": nest_sd, "cell": effects.cell, "nest": effects.nest, "sigma": sigma,
                 "power": power, "freedom": freedom, "day_cov": cov,
                 "day": np.column_stack([effects.day, h])}
            )  # fmt: skip
            pooled.append(z)
    return states[-kept:], np.concatenate(pooled[-20:])


def _draw_walk(
    chance: np.random.Generator, effects: Effects, at: Layout, drift: float
) -> tuple[float, float]:
    steps = np.diff(effects.level)
    if not len(steps):
        return abs(WEEK * float(chance.standard_t(3))), SLOPE_SD * float(chance.standard_normal())
    precision = float(at.gaps.sum()) / drift**2 + 1 / SLOPE_SD**2
    mean = float(steps.sum()) / drift**2 / precision
    slope = mean + float(chance.standard_normal()) / np.sqrt(precision)
    squares = float(((steps - slope * at.gaps) ** 2 / at.gaps).sum())
    return draw_spread(chance, squares, len(steps), WEEK), float(slope)
