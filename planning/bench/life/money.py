"""What the advice on changes saves in shops of which the truth is known: by shape, from the first
piece on, with nothing known but what came before."""

from __future__ import annotations

import math
from typing import Any, Final

import numpy as np

from planning.bench.life.simulated import RATED, SEED
from planning.calc.life.costs import ChangeCosts, Extra
from planning.calc.life.pays import pays
from planning.calc.life.posterior import Posterior
from planning.calc.life.records import Life
from planning.calc.life.replacement import of_weibull
from planning.calc.life.weibull import Weibull

SHAPES: Final = (0.7, 1.0, 1.5, 2.0, 3.0, 4.0)
PIECES: Final = 40
DEARER: Final = 4.0  # a failure costs so many planned changes
EVERY: Final = 4  # pieces between one advice and the next


def shops(number: int) -> dict[str, Any]:
    """By shape, cost a start against running to the end (1), of the advice and of the best age by
    the truth, and how often a change ahead was advised."""
    random = np.random.default_rng(SEED + 1)
    return {f"shape {shape:g}": _of_shape(random, shape, number) for shape in SHAPES}


def _of_shape(random: np.random.Generator, shape: float, number: int) -> dict[str, Any]:
    costs = ChangeCosts(0.5, _sure(DEARER - 0.5), _sure(0.5))
    told, told_starts, ends, end_starts, early, best = 0.0, 0.0, 0.0, 0.0, 0, 0.0
    for _ in range(number):
        mean = RATED * math.exp(random.normal(0, 0.4))
        life = Weibull(shape, mean / math.gamma(1 + 1 / shape))
        found = of_weibull(life, costs.ahead, costs.failed)
        best += found.cost / found.to_the_end
        seen: list[Life] = []
        age: float | None = None
        for n, end in enumerate(life.scale * random.weibull(shape, PIECES)):
            if n % EVERY == 0:
                advice = pays(Posterior.of(seen, RATED), costs, seed=n)
                age = advice.age if advice.verdict == "pays" else None
            changed = age is not None and age < end
            starts = float(age if changed and age is not None else end)
            seen.append(Life(starts, not changed))
            early += changed
            # costs in units of this shop's mean life: large shops do not outweigh small ones
            told += costs.ahead if changed else costs.failed
            told_starts += starts / mean
            ends += costs.failed
            end_starts += float(end) / mean
    return {
        "shops": number,
        "changed_ahead": early / (number * PIECES),
        "advice": (told / told_starts) / (ends / end_starts),
        "best": best / number,
    }


def _sure(total: float) -> Extra:
    return Extra(0.0, 0.0, total, 0.0, 0.0, total, total, 9, "part")
