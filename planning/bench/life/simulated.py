"""Shops of which the truth is known: shape, mean life, and when the next piece ends."""

from __future__ import annotations

import math
from typing import Any, Final

import numpy as np

from planning.bench.life.scores import Said, summed
from planning.calc.life.left import left
from planning.calc.life.posterior import Posterior
from planning.calc.life.records import Life, TooLittleData
from planning.calc.life.weibull import fit

SEED: Final = 20_261_130
REMOVALS: Final = (5, 10, 20, 30)
CENSORED: Final = (0.30, 0.55, 0.80)
RATED: Final = 600
OFF_SD: Final = 0.4  # of ln(mean life / rated): how wrong ratings are
SHAPES: Final = (1.2, 4.0)
MOMENTS: Final = (0.25, 0.5, 0.75)


def shops(number: int) -> dict[str, Any]:
    """`number` shops for each count of removals and share censored."""
    random = np.random.default_rng(SEED)
    cells = {}
    everything: list[Said] = []
    means: list[float] = []
    for count in REMOVALS:
        for share in CENSORED:
            said: list[Said] = []
            held: list[float] = []
            for _ in range(number):
                one, mean = _shop(random, count, share)
                said.append(one)
                held += mean
            everything += said
            means += held
            cells[f"{count} removals, {share:.0%} censored"] = {
                **summed(said),
                "means": len(held),
                "mean_held_90": sum(held) / len(held) if held else None,
            }
    return {"cells": cells, "all": {**summed(everything), "means": len(means),
            "mean_held_90": sum(means) / len(means)}}  # fmt: skip


def _shop(random: np.random.Generator, count: int, share: float) -> tuple[Said, list[float]]:
    shape = random.uniform(*SHAPES)
    mean = RATED * math.exp(random.normal(0, OFF_SD))
    scale = mean / math.gamma(1 + 1 / shape)
    ends = scale * random.weibull(shape, count)
    out = _changed_at(random, shape, scale, share, count)
    lives = [Life(float(min(e, c)), bool(e <= c)) for e, c in zip(ends, out, strict=True)]
    moment = float(random.choice(MOMENTS))
    end, age = _next_piece(random, shape, scale, moment)
    found = left(Posterior.of(lives, RATED), age)
    held = []
    try:
        between = fit(lives).mean
        held.append(float(between.low <= mean <= between.high))
    except TooLittleData:
        pass
    rule = max(0.0, RATED - age)
    return Said(found, end - age, True, rule, None, moment), held


def _changed_at(
    random: np.random.Generator, shape: float, scale: float, share: float, count: int
) -> np.ndarray[Any, np.dtype[np.float64]]:
    """Ages at which pieces are taken out for reasons of their own, so that such a share is."""
    ends = scale * random.weibull(shape, 2000)
    unit = random.weibull(1.5, 2000)
    low, high = 1e-3 * scale, 1e3 * scale
    for _ in range(40):
        middle = math.sqrt(low * high)
        if float((unit * middle < ends).mean()) > share:
            low = middle
        else:
            high = middle
    return np.asarray(math.sqrt(low * high) * random.weibull(1.5, count))


def _next_piece(
    random: np.random.Generator, shape: float, scale: float, moment: float
) -> tuple[float, float]:
    """A piece that is alive at that part of a mean life: when it ends, and its age."""
    age = moment * scale * math.gamma(1 + 1 / shape)
    hazard = (age / scale) ** shape + random.exponential()
    return float(scale * hazard ** (1 / shape)), age
