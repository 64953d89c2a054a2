"""What loading, unloading, gaps and set changes took, and how table-days differ in it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from planning.calc.ahead.records import Records, Step, Typical
from planning.calc.ahead.urn import MIDDLE_SD, Guess, Urn

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

SPREADS: Final = {Step.LOAD: 0.5, Step.UNLOAD: 0.5, Step.GAP: 0.6, Step.CHANGE: 0.4}
WORTH: Final = {Step.LOAD: 4.0, Step.UNLOAD: 4.0, Step.GAP: 4.0, Step.CHANGE: 4.0}
DAY_SD: Final = 0.03  # of d and of h: our assumption, worth DAY_WORTH table-days
DAY_WORTH: Final = 5.0


@dataclass
class HandlingFit:
    """Logarithms of each step's lengths with the place of their table-day; `middle` and `variance`
    are the current draw of each step's lognormal, which the day effects are judged by."""

    logs: Mapping[Step, Floats]
    day: Mapping[Step, Ints]
    middle: dict[Step, float]
    variance: dict[Step, float]
    typical: Typical

    def urns(self, mean_h: Floats, typical: Typical) -> dict[Step, Urn]:
        """Each step's records with their day's effect taken out."""
        return {
            step: Urn.of(
                np.exp(self.logs[step] - mean_h[self.day[step]]),
                Guess(typical.of(step), SPREADS[step], WORTH[step]),
            )
            for step in Step
        }


def handling_of(records: Records, days: Mapping[int, int]) -> HandlingFit:
    logs, day = {}, {}
    for step in Step:
        found = [
            (np.log(one.seconds), days[one.day])
            for one in records.handling
            if one.step is step and one.day in days and one.seconds > 0
        ]
        logs[step] = np.array([log for log, _ in found], dtype=float)
        day[step] = np.array([place for _, place in found], dtype=np.int64)
    typical = records.typical
    return HandlingFit(
        logs, day, {step: float(np.log(typical.of(step))) for step in Step},
        {step: SPREADS[step] ** 2 for step in Step}, typical,
    )  # fmt: skip


def draw_days(
    chance: np.random.Generator, d: Floats, steps: HandlingFit, cov: Floats
) -> tuple[Floats, Floats]:
    """h of each table-day given its d and its handling; then the covariance of (d, h)."""
    if not len(d):
        return d.copy(), _draw_cov(chance, np.zeros((2, 2)), 0)
    spread = cov[1, 1] - cov[0, 1] ** 2 / cov[0, 0]
    precision = np.full(len(d), 1 / spread)
    right = cov[0, 1] / cov[0, 0] * d / spread
    for step in Step:
        weight = 1 / steps.variance[step]
        away = (steps.logs[step] - steps.middle[step]) * weight
        precision += np.bincount(steps.day[step], minlength=len(d)) * weight
        right = right + np.bincount(steps.day[step], away, len(d))
    h = right / precision + chance.standard_normal(len(d)) / np.sqrt(precision)
    for step in Step:
        _draw_step(chance, steps, step, h)
    both = np.stack([d, h])
    return h, _draw_cov(chance, both @ both.T, len(d))


def _draw_step(chance: np.random.Generator, steps: HandlingFit, step: Step, h: Floats) -> None:
    clean = steps.logs[step] - h[steps.day[step]]
    typed = float(np.log(steps.typical.of(step)))
    precision = len(clean) / steps.variance[step] + 1 / MIDDLE_SD**2
    mean = (float(clean.sum()) / steps.variance[step] + typed / MIDDLE_SD**2) / precision
    steps.middle[step] = mean + float(chance.standard_normal()) / np.sqrt(precision)
    worth = WORTH[step]
    squares = float(((clean - steps.middle[step]) ** 2).sum()) + worth * SPREADS[step] ** 2
    steps.variance[step] = squares / 2 / float(chance.gamma((worth + len(clean)) / 2))


def _draw_cov(chance: np.random.Generator, squares: Floats, count: int) -> Floats:
    """Inverse Wishart of dimension 2 by Bartlett's decomposition."""
    scale = squares + DAY_WORTH * DAY_SD**2 * np.eye(2)
    freedom = DAY_WORTH + count
    lower = np.linalg.cholesky(np.linalg.inv(scale))
    a = np.array(
        [[np.sqrt(chance.chisquare(freedom)), 0.0],
         [chance.standard_normal(), np.sqrt(chance.chisquare(freedom - 1))]]
    )  # fmt: skip
    root = lower @ a
    return np.asarray(np.linalg.inv(root @ root.T))
