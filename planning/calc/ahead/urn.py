"""Durations drawn from the shop's own records, and from a typed guess while these are few."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

KEPT: Final = 300  # the latest records; older ones say less of how the shop works now
MIDDLE_SD: Final = 0.5  # of the logarithm: how far off a typed median may be


@dataclass(frozen=True, slots=True)
class Guess:
    """A lognormal: its median in seconds, the standard deviation of its logarithm, and how many
    records it is worth."""

    median_s: float
    log_sd: float
    worth: float


@dataclass(frozen=True)
class Urn:
    """A Dirichlet process over durations (Ferguson 1973; Rubin 1981, from memory): the next one
    is one of the records, or with weight `guess.worth` against their number a draw of the guess.
    """

    records_s: Floats
    guess: Guess

    @classmethod
    def of(cls, records_s: Sequence[float] | Floats, guess: Guess) -> Urn:
        kept = np.asarray(records_s, dtype=float)[-KEPT:]
        return cls(kept[kept > 0], guess)

    @property
    def mean_s(self) -> float:
        guess, count = self.guess, len(self.records_s)
        spread = MIDDLE_SD**2 + guess.log_sd**2
        guessed = guess.median_s * float(np.exp(spread / 2))
        whole = float(self.records_s.sum()) + guess.worth * guessed
        return whole / (count + guess.worth)

    @property
    def square_s2(self) -> float:
        """The mean square, s2."""
        guess, count = self.guess, len(self.records_s)
        guessed = guess.median_s**2 * float(np.exp(2 * (MIDDLE_SD**2 + guess.log_sd**2)))
        whole = float((self.records_s**2).sum()) + guess.worth * guessed
        return whole / (count + guess.worth)

    def draw(self, chance: np.random.Generator, shape: tuple[int, ...]) -> Floats:
        """Seconds, of that shape; the draws of one row (the last axis) share the guess's middle."""
        guess, count = self.guess, len(self.records_s)
        rows = (*shape[:-1], 1)
        middle = np.log(guess.median_s) + MIDDLE_SD * chance.standard_normal(rows)
        drawn = np.exp(middle + guess.log_sd * chance.standard_normal(shape))
        if count:
            recorded = chance.random(shape) * (count + guess.worth) < count
            picked = self.records_s[chance.integers(0, count, shape)]
            drawn = np.where(recorded, picked, drawn)
        return np.asarray(drawn)

    def draw_rest(
        self, chance: np.random.Generator, draws: int, age_s: float, scale: Floats
    ) -> Floats:
        """What is left of one that has lasted `age_s` already: seconds, of shape (draws,). Lengths
        are multiplied by `scale` (draws,) first."""
        many = max(8 * draws, 4000)
        lengths = self.draw(chance, (many, 1))[:, 0] * chance.choice(scale, many)
        longer = lengths[lengths > age_s] - age_s
        if len(longer) < MOST_ALIKE:  # longer than nearly all: it goes on as long as it has lasted
            return chance.exponential(max(age_s, 1.0), draws)
        return chance.choice(longer, draws)


MOST_ALIKE: Final = 20
