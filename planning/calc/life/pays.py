"""Whether changing a part ahead of its end pays this shop, at which age, and what it saves.

The age is chosen over the whole cloud of lives (`replacement.py`); how sure that is comes from
drawing lives from the cloud and costs from their ranges, and asking what the chosen age would save
in each.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from scipy.special import gammainc

from planning.calc.life.costs import LEVEL, ChangeCosts, Extra
from planning.calc.life.posterior import Posterior
from planning.calc.life.records import Floats
from planning.calc.life.replacement import ChangeAge, of_survival
from planning.calc.life.weibull import LEAST_ENDS

# Our assumption: advice to change early wants four chances in five that it saves at all.
SURE = 0.8
DRAWS = 400
AGES = 800  # on which survival is tabulated
FARTHEST = 10.0  # mean lives

Verdict = Literal["pays", "unsure", "never", "thin"]


@dataclass(frozen=True, slots=True)
class Pays:
    """`age`: change at; None: at its end. `saved`: minor units a start against running every piece
    to its end; `saved_low` to `saved_high` hold 90 %. `chance`: that it saves at all."""

    verdict: Verdict
    age: float | None
    low: float | None
    high: float | None
    saved: float
    saved_low: float
    saved_high: float
    chance: float
    ends: int


def change_age(lives: Posterior, planned: float, failed: float) -> ChangeAge:
    """As `of_posterior`, from survival tabulated once: quick enough to be replayed."""
    far = FARTHEST * lives.mean
    ages = np.concatenate([[0.0], np.geomspace(far / 5000, far, AGES)])
    still = lives.survival(ages)
    return of_survival(lambda at: np.interp(at, ages, still), far, planned, failed)


def pays(lives: Posterior, costs: ChangeCosts, *, seed: int = 0) -> Pays:
    """Too few ends give "thin": then the shop is not told to throw pieces away."""
    if lives.ends < LEAST_ENDS:
        return Pays("thin", None, None, None, 0.0, 0.0, 0.0, 0.0, lives.ends)
    found = change_age(lives, costs.ahead, costs.failed)
    if found.age is None:
        return Pays("never", None, None, None, 0.0, 0.0, 0.0, 0.0, lives.ends)
    saved = _drawn(lives, costs, found.age, seed)
    low, high = np.quantile(saved, [(1 - LEVEL) / 2, (1 + LEVEL) / 2])
    chance = float((saved > 0).mean())
    return Pays(
        verdict="pays" if chance >= SURE else "unsure",
        age=found.age,
        low=found.low,
        high=found.high,
        saved=found.to_the_end - found.cost,
        saved_low=float(low),
        saved_high=float(high),
        chance=chance,
        ends=lives.ends,
    )


def _drawn(lives: Posterior, costs: ChangeCosts, age: float, seed: int) -> Floats:
    """What changing at that age saves a start, in so many worlds."""
    random = np.random.default_rng(seed)
    cells = random.choice(len(lives.weight), DRAWS, p=lives.weight)
    shape, scale, mean = lives.shape[cells], lives.scale[cells], lives.means[cells]
    failed = costs.price + drawn(random, costs.failure, DRAWS)
    ahead = costs.price + drawn(random, costs.planned, DRAWS)
    reach = (age / scale) ** shape
    still = np.exp(-reach)
    given = mean * gammainc(1 / shape, reach)
    return np.asarray(failed / mean - (ahead * still + failed * (1 - still)) / given)


def drawn(random: np.random.Generator, cost: Extra, draws: int) -> Floats:
    """Totals a cost may have, by its range at 90 %: normal, never below 0."""
    sd = (cost.high - cost.low) / (2 * 1.6449)
    return np.maximum(random.normal(cost.total, sd, draws), 0.0)
